"""Rules in words: conditions and actions as phrases; a page may make links of the ids in them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.strict_json import Json


@dataclass(frozen=True)
class Phrase:
    """One condition or action, with what stands inside it."""

    text: str
    inner: tuple["Phrase", ...] = ()

    def lines(self, depth: int = 0) -> list[tuple[int, str]]:
        """Return the phrase and what stands inside it, each with its depth."""
        return [(depth, self.text), *(row for one in self.inner for row in one.lines(depth + 1))]


_GROUPS = {"any": "any of these:", "all": "all of these:", "none": "none of these:"}
# key of a condition -> its words
_CONDITIONS = {
    "concluded": "something concluded '{}'",
    "not_concluded": "nothing concluded '{}'",
    "step": "the step carries the hazard '{}'",
}
# key of an action -> its words
_ACTIONS = {
    "note": "say the three sentences",
    "caution": "say the caution",
    "out_of_scope": "say that this machine is out of scope",
    "at_times": "odds that it comes and goes times {}",
    "conclude": "conclude '{}'",
    "set_aside": "set aside {}",
    "weaken": "weaken {} to {percent:g} % of its weight",
    "drop_causes": "this machine cannot have {}",
    "drop_checks": "on this machine nobody can do {}",
    "ask_first": "offer first {}",
    "clears": "proves absent {}",
    "forbid": "propose no check with the hazard {}",
}
_LOOK_BEHIND = {
    "look_behind": "look behind {}", "roots": " for {}",
    "before_replacing": "; before a part is fitted do {}",
}  # fmt: skip
# what a value is compared with -> its words; of shares the last two
_COMPARED = {
    "is": "is {}", "outcome": "is {}", "reads": "reads {}", "in": "is {}", "reads_in": "reads {}",
    "above": "above {}", "above_share": "above {} % of system volts",
    "below": "below {}", "below_share": "below {} % of system volts",
}  # fmt: skip


def condition(raw: Json) -> Phrase:
    """Return a condition of a rule in words."""
    for kind, words in _GROUPS.items():
        if kind in raw:
            return Phrase(words, tuple(condition(one) for one in raw[kind]))
    for kind, words in _CONDITIONS.items():
        if kind in raw:
            return Phrase(words.format(raw[kind]))
    if "machine" in raw:
        return Phrase(f"the machine's {raw['machine'].replace('_', ' ')} {_compared(raw)}")
    if "cause" in raw:
        return Phrase(f"{raw['cause']} is believed to at least {100 * raw['at_least']:g} %")
    checks = _listed(raw["check"] if "check" in raw else raw["checks"], " or ")
    if raw.get("given") is False:
        return Phrase(f"there is no finding of {checks}")
    said = [_compared(raw) or "was done"]
    said += [_attribute(name, value) for name, value in raw.get("with", {}).items()]
    return Phrase(f"{checks} {', '.join(said)}")


def _compared(raw: Json) -> str:
    """Return what a value is compared with."""
    said = []
    for key, words in _COMPARED.items():
        if key in raw:
            value = 100 * raw[key] if key.endswith("_share") else raw[key]
            said.append(words.format(f"{value:g}" if isinstance(value, float) else _either(value)))
    return " and ".join(said)


def _attribute(name: str, value: object) -> str:
    words = name.replace("_", " ")
    if value in ("missing", "given"):
        return f"{words} {'not stated' if value == 'missing' else 'stated'}"
    return f"{words} {value}"


def action(raw: Json) -> Phrase:
    """Return an action of a rule in words."""
    if "shift" in raw:
        odds = (f"{cause}: odds times {factor:g}" for cause, factor in raw["shift"].items())
        return Phrase("change what is likely beforehand", tuple(map(Phrase, odds)))
    if "look_behind" in raw:
        parts = (words.format(_listed(raw[key])) for key, words in _LOOK_BEHIND.items()
                 if raw.get(key))  # fmt: skip
        return Phrase("".join(parts))
    kind = next(kind for kind in _ACTIONS if kind in raw)
    percent = 100 * raw.get("keep", 0)
    return Phrase(_ACTIONS[kind].format(_listed(raw[kind]), percent=percent))


def _listed(names: Any, last: str = ", ") -> str:
    """Return ids in a row, with ``last`` before the last of them."""
    every = [str(one) for one in names] if isinstance(names, list) else [str(names)]
    return last.join([", ".join(every[:-1]), every[-1]] if every[1:] else every)


def _either(value: object) -> str:
    return " or ".join(str(one) for one in (value if isinstance(value, list) else [value]))


def applies(alternatives: Sequence[Mapping[str, Sequence[Any]]]) -> str:
    """Return in words where something applies."""
    if not all(alternatives):
        return "every machine"
    said = []
    for one in alternatives:
        parts = [f"{key.replace('_', ' ')} {_either(list(value))}" for key, value in one.items()]
        said.append(" and ".join(parts))
    return "; or ".join(said)
