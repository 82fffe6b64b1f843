"""Rules in words: conditions and actions as phrases whose ids a page can make into links."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Token:
    """A piece of a phrase; ``kind`` and ``id`` name the page it leads to, where there is one."""

    text: str
    kind: str = ""
    id: str = ""


@dataclass(frozen=True)
class Phrase:
    """One condition or action, with what stands inside it."""

    tokens: tuple[Token, ...]
    inner: tuple["Phrase", ...] = ()

    @property
    def text(self) -> str:
        """Return the phrase without its links and without what stands inside it."""
        return "".join(token.text for token in self.tokens)

    def lines(self, depth: int = 0) -> list[tuple[int, str]]:
        """Return the phrase and what stands inside it, each with its depth."""
        return [(depth, self.text), *(row for one in self.inner for row in one.lines(depth + 1))]


_GROUPS = {"any": "any of these:", "all": "all of these:", "none": "none of these:"}


def condition(raw: Mapping[str, Any]) -> Phrase:
    """Return a condition of a rule in words."""
    for kind, words in _GROUPS.items():
        if kind in raw:
            return Phrase((Token(words),), tuple(condition(one) for one in raw[kind]))
    if "machine" in raw:
        field = str(raw["machine"]).replace("_", " ")
        return Phrase((Token(f"the machine's {field} {_compared(raw)}"),))
    if "concluded" in raw or "not_concluded" in raw:
        denied = "not_concluded" in raw
        fact = raw["not_concluded" if denied else "concluded"]
        return Phrase((Token(f"{'nothing' if denied else 'something'} concluded '{fact}'"),))
    if "cause" in raw:
        belief = f" is believed to at least {100 * raw['at_least']:g} %"
        return Phrase((Token(raw["cause"], "causes", raw["cause"]), Token(belief)))
    if "step" in raw:
        return Phrase((Token(f"the step carries the hazard '{raw['step']}'"),))
    return _finding(raw)


def _finding(raw: Mapping[str, Any]) -> Phrase:
    tokens = _links(raw["check"] if "check" in raw else raw["checks"], "checks", " or ")
    if raw.get("given") is False:
        return Phrase((Token("there is no finding of "), *tokens))
    said = [_compared(raw) or "was done"]
    said += [_attribute(name, value) for name, value in raw.get("with", {}).items()]
    return Phrase((*tokens, Token(" " + ", ".join(said))))


def _links(names: Any, kind: str, last: str = ", ") -> list[Token]:
    """Return ids as tokens that lead to their pages, with ``last`` before the last of them."""
    listed = _listed(names)
    tokens: list[Token] = []
    for place, name in enumerate(listed):
        if place:
            tokens.append(Token(last if place == len(listed) - 1 else ", "))
        tokens.append(Token(name, kind, name))
    return tokens


def _compared(raw: Mapping[str, Any]) -> str:
    """Return what a value is compared with."""
    said = []
    for key, words in (
        ("is", "is"), ("outcome", "is"), ("reads", "reads"), ("in", "is"), ("reads_in", "reads"),
    ):  # fmt: skip
        if key in raw:
            said.append(f"{words} {_either(raw[key])}")
    for key, words in (("above", "above"), ("below", "below")):
        if key in raw:
            said.append(f"{words} {raw[key]:g}")
        if f"{key}_share" in raw:
            said.append(f"{words} {100 * raw[f'{key}_share']:g} % of system volts")
    return " and ".join(said)


def _attribute(name: str, value: object) -> str:
    words = name.replace("_", " ")
    if value in ("missing", "given"):
        return f"{words} {'not stated' if value == 'missing' else 'stated'}"
    return f"{words} {value}"


_PLAIN = {
    "note": "say the three sentences",
    "caution": "say the caution",
    "out_of_scope": "say that this machine is out of scope",
}


def action(raw: Mapping[str, Any]) -> Phrase:
    """Return an action of a rule in words."""
    for kind, words in _PLAIN.items():
        if kind in raw:
            return Phrase((Token(words),))
    if "conclude" in raw:
        return Phrase((Token(f"conclude '{_either(raw['conclude'])}'"),))
    if "shift" in raw:
        inner = [
            Phrase((Token(cause, "causes", cause), Token(f": odds times {factor:g}")))
            for cause, factor in raw["shift"].items()
        ]
        return Phrase((Token("change what is likely beforehand"),), tuple(inner))
    if "look_behind" in raw:
        return _look_behind(raw)
    return _simple(raw)


_SIMPLE = {
    "set_aside": ("set aside", "checks"),
    "weaken": ("weaken", "checks"),
    "drop_causes": ("this machine cannot have", "causes"),
    "drop_checks": ("on this machine nobody can do", "checks"),
    "ask_first": ("offer first", "checks"),
    "clears": ("proves absent", "causes"),
    "forbid": ("propose no check with the hazard", ""),
}


def _simple(raw: Mapping[str, Any]) -> Phrase:
    kind = next(kind for kind in _SIMPLE if kind in raw)
    words, target = _SIMPLE[kind]
    tokens = [Token(words + " "), *_links(raw[kind], target)]
    if kind == "weaken":
        tokens.append(Token(f" to {100 * raw['keep']:g} % of its weight"))
    return Phrase(tuple(tokens))


def _look_behind(raw: Mapping[str, Any]) -> Phrase:
    tokens: list[Token] = []
    for key, words, target in (
        ("look_behind", "look behind ", "causes"),
        ("roots", " for ", "causes"),
        ("before_replacing", "; before a part is fitted do ", "checks"),
    ):
        if raw.get(key):
            tokens += [Token(words), *_links(raw[key], target)]
    return Phrase(tuple(tokens))


def _listed(value: Any) -> list[str]:
    return [str(one) for one in value] if isinstance(value, list) else [str(value)]


def _either(value: object) -> str:
    return " or ".join(_listed(value))


def applies(alternatives: Sequence[Mapping[str, Sequence[Any]]]) -> str:
    """Return in words where something applies."""
    if not all(alternatives):
        return "every machine"
    said = []
    for one in alternatives:
        parts = [f"{key.replace('_', ' ')} {_either(list(value))}" for key, value in one.items()]
        said.append(" and ".join(parts))
    return "; or ".join(said)
