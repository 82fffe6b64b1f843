"""What people type into a case: limits, and characters that no store or screen should meet."""

import unicodedata
from collections.abc import Mapping
from typing import Any

from engine import Fault

# field: the most characters it may have, and whether it may have several lines
LIMITS: dict[str, tuple[int, bool]] = {
    "fleet_number": (40, False),
    "machine_type": (80, False),
    "reference": (80, False),
    "handed_to": (80, False),
    "complaint": (4000, True),
    "caller_name": (80, False),
    "caller_phone": (40, False),
    "caller_place": (120, False),
    "call_back_at": (40, False),
}
TEXTS = tuple(LIMITS)
OF_THE_CALLER = ("caller_name", "caller_phone", "caller_place", "call_back_at")
NAME = 80
BECAUSE = 500
NOTE = 4000
REPLACED = 120
_LINES = "\n\r\t"


def fault_of(value: Any, most: int, lines: bool = False) -> str | None:
    """Return what is wrong with a text, or None. Nothing is trimmed: it is kept as typed."""
    if not isinstance(value, str):
        return "must be a text"
    if len(value) > most:
        return f"has {len(value)} characters; at most {most}"
    controls = (one for one in value if unicodedata.category(one) in ("Cc", "Cs"))
    bad = next((one for one in controls if not (lines and one in _LINES)), None)
    if bad is not None:
        return f"has a control character (U+{ord(bad):04X}); take it out"
    return None


def name_fault(said: Any) -> str | None:
    """Return what is wrong with the name of a person, or None.

    It stands before "via" and the name of a key: it must not pass for one, nor turn the line round.
    """
    fault = fault_of(said, NAME)
    if fault is not None:
        return fault
    if not said.strip():
        return "is blank"
    if "via" in said.casefold().split():
        return "has the word 'via', which the name of the caller's key stands behind"
    if any(unicodedata.category(one) == "Cf" for one in said):
        return "has an invisible character or a direction mark; take it out"
    return None


def read_texts(body: Mapping[str, Any]) -> dict[str, Any]:
    """Return the case's own texts that a body gives; null clears one."""
    return {name: body[name] or "" for name in TEXTS if name in body}


def hidden_controls(value: Any, path: str) -> list[Fault]:
    """Return a fault for every text inside ``value``, keys too, that has a control character."""
    if isinstance(value, str):
        fault = fault_of(value, len(value), lines=True)
        return [Fault(path, fault)] if fault else []
    inside: list[tuple[str, Any]] = []
    if isinstance(value, Mapping):
        inside = [(path, key) for key in value]
        names = {key: f"{path}.{ascii(str(key))[1:-1]}".removeprefix(".") for key in value}
        inside += [(names[key], one) for key, one in value.items()]
    elif isinstance(value, list | tuple):
        inside = [(f"{path}[{place}]", one) for place, one in enumerate(value)]
    return [fault for at, one in inside for fault in hidden_controls(one, at)]
