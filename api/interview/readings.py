"""What a person types as a reading: number, unit, and how it was taken, into a finding's fields.

Only the spelling is dealt with here. Whether number and unit make sense is for the engine to say.
"""

import re
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

from api.strict_json import Json
from api.translation import gettext
from engine.knowledge import items
from engine.knowledge.faults import nearest
from engine.reasoning.request import OPEN, UNIT_WORDS

_NUMBER = re.compile(r"^([-+]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][-+]?\d+)?)\s*(.*)$", re.DOTALL)
_THOUSANDS = re.compile(r"^[-+]?\d{1,3}(,\d{3})+$")
_APART = re.compile(r";|,\s+|,$")
_OPEN_WORDS = frozenset(
    {"open", "ol", "0l", "o.l", "o.l.", "over", "over range", "over limit", "overload", "infinite",
     "infinity", "inf"}
)  # fmt: skip
_SPELLINGS = {
    "v": "V", "volt": "V", "volts": "V", "mv": "mV", "millivolt": "mV", "millivolts": "mV",
    "a": "A", "amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "ma": "mA", "milliamp": "mA",
    "milliamps": "mA", "ohms": "ohm", "r": "ohm", "k": "kohm", "kohms": "kohm", "kilohm": "kohm",
    "kilohms": "kohm", "kiloohm": "kohm", "milliohm": "mohm", "milliohms": "mohm",
    "megohm": "Mohm", "megohms": "Mohm", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
    "ms": "ms", "millisecond": "ms", "milliseconds": "ms",
}  # fmt: skip


class NotRead(ValueError):  # noqa: N818 - it is what happened, not a fault of ours
    """What was typed is not taken; the message says why and what to type."""


@dataclass(frozen=True)
class TypedReading:
    """A number with its unit, or the word 'open'; ``unit`` is None where none was typed."""

    value: float | None = None
    unit: str | None = None
    is_open: bool = False
    details: Json = field(default_factory=dict)

    def finding(self, check: str) -> Json:
        """Return the reading as a finding of a check."""
        if self.is_open:
            return {"check": check, "outcome": "open", **self.details}
        unit = {} if self.unit is None else {"unit": self.unit}
        return {"check": check, "value": self.value, **unit, **self.details}


def unit_of(word: str) -> str:
    """Return a unit as the engine spells it; one that is not known stays as it was typed."""
    if word in UNIT_WORDS:
        return word
    return _SPELLINGS.get(word.lower(), next((u for u in UNIT_WORDS if u == word.lower()), word))


def number_of(text: str) -> float:
    """Return a number typed with a point or a decimal comma. Raises NotRead."""
    if _THOUSANDS.match(text):
        raise NotRead(gettext(
            "'%(typed)s' can be %(plain)s or %(decimal)s: type it like that.",
            typed=text, plain=text.replace(",", ""), decimal=text.replace(",", ".", 1),
        ))  # fmt: skip
    try:
        return float(text.replace(",", ".") if "." not in text else text)
    except ValueError:
        told = gettext("'%(typed)s' is not a number. Type it like 11.4 V.", typed=text)
        raise NotRead(told) from None


def read_reading(line: str, tags: Collection[str]) -> TypedReading:
    """Read ``11.4 V, leads 0.2 ohm, plug off``; ``tags`` are the circumstances there are.

    Raises NotRead with what to type instead.
    """
    head, *rest = (part.strip() for part in _APART.split(line))
    found = details(rest, tags)
    if head.lower() in _OPEN_WORDS:
        return TypedReading(is_open=True, details=found)
    match = _NUMBER.match(head)
    if match is None:
        raise NotRead(gettext("'%(typed)s' is not a reading. Type a number with its unit.",
                              typed=short(head)))  # fmt: skip
    word = match.group(2)
    return TypedReading(number_of(match.group(1)), unit_of(word) if word else None, details=found)


def number_in(words: str, unit: str) -> float:
    """Return a number that is asked for in one unit, which may stand behind it. Raises NotRead."""
    reading = read_reading(words, ())
    if reading.value is None:
        raise NotRead(gettext("Type a number."))
    if reading.unit not in (None, unit, unit.lower(), "celsius"):
        raise NotRead(gettext("Type a number in %(unit)s.", unit=unit))
    return reading.value


def quantity_in(words: str, unit: str) -> float | str:
    """Return a quantity in ``unit``, or 'open' for over range; '24 V', '800 mohm', '14 AWG'.

    Words that are no number are returned as they stand. Raises NotRead for a number that can be
    read two ways and for another unit.
    """
    if words.lower() in _OPEN_WORDS:
        return OPEN
    match = _NUMBER.match(words)
    word = match.group(2).strip().lstrip("°").replace("²", "2") if match else ""
    if match is None or (word and not unit):
        return words
    number = number_of(match.group(1))
    known, factor = UNIT_WORDS.get(unit_of(word), (word, 1.0))
    if word and known.lower() != unit.lower():
        raise NotRead(gettext("'%(typed)s' is not in %(unit)s.", typed=short(words), unit=unit))
    return float(number * factor)


def split_details(line: str) -> tuple[str, list[str]]:
    """Return an answer and the remarks behind it, parted by commas or semicolons."""
    head, *rest = (part.strip() for part in _APART.split(line))
    return head, rest


def details(parts: Collection[str], tags: Collection[str]) -> Json:
    """Read remarks on how a finding was taken into the fields of a finding. Raises NotRead."""
    found: dict[str, Any] = {}
    for part in parts:
        for key, value in (_detail(part, tags) if part else {}).items():
            found[key] = [*found.get(key, []), *value] if key == "circumstances" else value
    return found


def _detail(part: str, tags: Collection[str]) -> Json:
    low = " ".join(part.lower().split())
    if low.startswith("note "):
        return {"note": part[5:].strip()}
    if low in _FIXED:
        return dict(_FIXED[low])
    moment = low.removeprefix("at ").replace(" ", "-")
    if moment in items.MOMENTS:
        return {"moment": moment}
    if low.replace(" ", "-") in tags:
        return {"circumstances": [low.replace(" ", "-")]}
    return _measure(part, low, tags)


def _measure(part: str, low: str, tags: Collection[str]) -> Json:
    """Read ``leads 0.2 ohm`` or ``60 C``."""
    if low.startswith("leads "):
        return {"lead_ohms": leads_of(part[6:])}
    match = re.match(r"^([-+]?[\d.,]+) ?(c|°c|celsius|degrees)$", low)
    if match:
        return {"celsius": number_of(match.group(1))}
    known = [*tags, *_FIXED, *items.MOMENTS]
    raise NotRead(
        f"'{short(part)}' behind the answer is not known{nearest(low, known)}. Type 'help' for "
        "what can stand there, or 'note' and your own words."
    )


def leads_of(text: str) -> float:
    """Return the ohms of the test leads. Raises NotRead."""
    word = text.strip().lower()
    if word in ("z", "zero", "zeroed", "zeroed out"):
        return 0.0
    match = _NUMBER.match(word)
    unit, factor = UNIT_WORDS.get(unit_of(match.group(2) or "ohm"), ("", 1.0)) if match else ("", 1)
    if match is None or unit != "ohm":
        raise NotRead("Type what the leads alone read, such as 0.2 ohm, or z when zeroed.")
    return number_of(match.group(1)) * factor


def short(text: str) -> str:
    """Return what was typed, cut where it is long."""
    return text if len(text) <= 40 else text[:37] + "..."


_FIXED: dict[str, dict[str, Any]] = {
    "zeroed": {"lead_ohms": 0.0}, "leads zeroed": {"lead_ohms": 0.0},
    "to body": {"measured_to": "body"}, "body": {"measured_to": "body"},
    "to ground pin": {"measured_to": "ground-pin"}, "ground pin": {"measured_to": "ground-pin"},
    "to pin": {"measured_to": "ground-pin"}, "ground-pin": {"measured_to": "ground-pin"},
    "plug fitted": {"plug": "fitted"}, "plug removed": {"plug": "removed"},
    "plug off": {"plug": "removed"}, "plug on": {"plug": "fitted"},
    "left": {"side": "left"}, "right": {"side": "right"},
    "while shaken": {"while": "shaken"}, "while moved": {"while": "shaken"},
    "while hot": {"while": "heated"}, "while heated": {"while": "heated"},
    "while wet": {"while": "wetted"}, "while wetted": {"while": "wetted"},
    "at rest": {"while": None},  # though the step asked for it to be brought on
}  # fmt: skip
