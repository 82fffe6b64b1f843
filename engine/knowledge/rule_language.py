"""The language of rule files: conditions and actions, read into dataclasses with their faults.

A condition tests the machine, the findings, what other rules concluded, or (in the conclude stage)
the beliefs. See DEVELOPERS.md for the forms.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from engine.knowledge import items
from engine.knowledge.faults import Fault, unknown

MACHINE_FIELDS: Mapping[str, Sequence[Any] | None] = {
    "duty": items.DUTIES,
    "control": (*items.CONTROLS, "unknown"),
    "coil": (*items.COILS, "unknown"),
    "system_volts": items.SYSTEM_VOLTS,
    "fuel_actuation": items.ACTUATIONS,
    "fuse_amps": None,
    "pull_ohms": None,
    "hold_ohms": None,
    "ambient_celsius": None,
    "solenoids": (1, 2),
}
ATTRIBUTES: Mapping[str, Sequence[str] | None] = {
    "measured_to": ("ground-pin", "body"),
    "plug": ("fitted", "removed"),
    "moment": items.MOMENTS,
    "side": ("left", "right"),
    "circumstances": None,
    "lead_ohms": None,
    "celsius": None,
    "meter": None,
}


@dataclass(frozen=True)
class MachineTest:
    """A field of the machine is one of some values, or above or below a number."""

    field: str
    values: tuple[Any, ...] | None = None
    above: float | None = None
    below: float | None = None


@dataclass(frozen=True)
class AttributeTest:
    """An attribute of a finding is present, missing, equal to a value, or above or below one."""

    name: str
    relation: str
    value: Any = None


@dataclass(frozen=True)
class FindingTest:
    """Some finding of one of the checks meets every test at once (or there is none, if absent)."""

    checks: tuple[str, ...]
    absent: bool = False
    outcomes: tuple[str, ...] | None = None
    reads: tuple[str, ...] | None = None
    above: float | None = None
    below: float | None = None
    above_share: float | None = None
    below_share: float | None = None
    attributes: tuple[AttributeTest, ...] = ()


@dataclass(frozen=True)
class ConcludedTest:
    """Some rule concluded the fact, or none did."""

    fact: str
    wanted: bool


@dataclass(frozen=True)
class BeliefTest:
    """The belief in a cause is at least so much."""

    cause: str
    at_least: float


@dataclass(frozen=True)
class StepTest:
    """The step in question carries the hazard."""

    hazard: str


@dataclass(frozen=True)
class Group:
    """``any``, ``all`` or ``none`` of several conditions."""

    kind: str
    members: tuple["Condition", ...]


Condition = MachineTest | FindingTest | ConcludedTest | BeliefTest | StepTest | Group


class Reader:
    """Reads the conditions and actions of one rule, collecting faults instead of stopping."""

    def __init__(self, family: str) -> None:
        self.family = family
        self.faults: list[Fault] = []

    def fault(self, path: str, message: str) -> None:
        """Note one thing wrong at ``path``."""
        self.faults.append(Fault(path, message))

    def conditions(self, raw: Sequence[Mapping[str, Any]], path: str) -> tuple[Condition, ...]:
        """Read a list of conditions."""
        read = [self.condition(one, f"{path}[{i}]") for i, one in enumerate(raw)]
        return tuple(one for one in read if one is not None)

    def condition(self, raw: Any, path: str) -> Condition | None:
        """Read one condition; None, with a fault noted, when it cannot be read."""
        if not isinstance(raw, Mapping):
            self.fault(path, "must be a mapping")
            return None
        for key, reader in _READERS.items():
            if key in raw:
                return reader(self, raw, path)
        self.fault(path, f"is none of the forms of a condition: {', '.join(_READERS)}")
        return None

    def only(self, raw: Mapping[str, Any], allowed: set[str], path: str) -> None:
        """Refuse keys that the form does not have."""
        for key in raw:
            if key not in allowed:
                self.fault(f"{path}.{key}", unknown("key", key, sorted(allowed)))

    def number(self, raw: Mapping[str, Any], key: str, path: str) -> float | None:
        """Read an optional number."""
        value = raw.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            self.fault(f"{path}.{key}", "must be a number")
            return None
        return float(value)

    def texts(self, value: Any, path: str) -> tuple[str, ...]:
        """Read one text or a list of texts."""
        listed = value if isinstance(value, list) else [value]
        if not listed or not all(isinstance(text, str) for text in listed):
            self.fault(path, "must be a name or a list of names")
            return ()
        return tuple(listed)

    def chosen(
        self, raw: Mapping[str, Any], one: str, many: str, path: str
    ) -> tuple[Any, ...] | None:
        """Read ``one: x`` or ``many: [x, y]``; None when neither is there."""
        if one in raw:
            return (raw[one],) if self.plain(raw[one], f"{path}.{one}") else ()
        if many not in raw:
            return None
        if not isinstance(raw[many], list) or not raw[many]:
            self.fault(f"{path}.{many}", "must be a list with something in it")
            return ()
        return tuple(value for value in raw[many] if self.plain(value, f"{path}.{many}"))

    def plain(self, value: Any, path: str) -> bool:
        """Return whether a value is a word or a number; note a fault when it is not."""
        if isinstance(value, (str, int, float)):
            return True
        self.fault(path, "must be a word or a number")
        return False


def _read_machine(reader: Reader, raw: Mapping[str, Any], path: str) -> Condition | None:
    reader.only(raw, {"machine", "is", "in", "above", "below"}, path)
    name = raw["machine"]
    if not isinstance(name, str) or name not in MACHINE_FIELDS:
        reader.fault(f"{path}.machine", unknown("machine field", name, MACHINE_FIELDS))
        return None
    values = reader.chosen(raw, "is", "in", path)
    known = MACHINE_FIELDS[name]
    for value in values or ():
        if known is not None and value not in known:
            reader.fault(path, unknown(f"value of {name}", value, [str(one) for one in known]))
    above, below = reader.number(raw, "above", path), reader.number(raw, "below", path)
    if values is None and above is None and below is None:
        reader.fault(path, "needs one of is, in, above, below")
    return MachineTest(name, values, above, below)


def _read_attribute(reader: Reader, name: Any, value: Any, path: str) -> AttributeTest | None:
    if name not in ATTRIBUTES:
        reader.fault(path, unknown("attribute", name, ATTRIBUTES))
        return None
    if not reader.plain(value, path):
        return None
    if value in ("missing", "given"):
        return AttributeTest(name, str(value))
    words = str(value).split()
    if len(words) == 2 and words[0] in ("above", "below"):
        try:
            return AttributeTest(name, words[0], float(words[1]))
        except ValueError:
            reader.fault(path, f"'{value}' does not end in a number")
            return None
    known = ATTRIBUTES[name]
    if known is not None and value not in known:
        reader.fault(path, unknown(f"value of {name}", value, known))
    return AttributeTest(name, "is", value)


def _read_finding(reader: Reader, raw: Mapping[str, Any], path: str) -> Condition:
    reader.only(
        raw,
        {"check", "checks", "outcome", "in", "reads", "reads_in", "above", "below", "above_share",
         "below_share", "with", "given"},
        path,
    )  # fmt: skip
    key = "check" if "check" in raw else "checks"
    if not isinstance(raw.get("given", True), bool):
        reader.fault(f"{path}.given", "must be true or false")
    attributes = raw.get("with", {})
    if not isinstance(attributes, Mapping):
        reader.fault(f"{path}.with", "must be a mapping of attributes")
        attributes = {}
    read = [
        _read_attribute(reader, name, value, f"{path}.with.{name}")
        for name, value in attributes.items()
    ]
    reads = reader.chosen(raw, "reads", "reads_in", path)
    for verdict in reads or ():
        if verdict not in items.VERDICTS:
            reader.fault(path, unknown("verdict", verdict, items.VERDICTS))
    return FindingTest(
        checks=reader.texts(raw[key], f"{path}.{key}"),
        absent=raw.get("given") is False,
        outcomes=reader.chosen(raw, "outcome", "in", path),
        reads=reads,
        above=reader.number(raw, "above", path),
        below=reader.number(raw, "below", path),
        above_share=reader.number(raw, "above_share", path),
        below_share=reader.number(raw, "below_share", path),
        attributes=tuple(one for one in read if one is not None),
    )


def _read_concluded(reader: Reader, raw: Mapping[str, Any], path: str) -> Condition:
    reader.only(raw, {"concluded", "not_concluded"}, path)
    key = "concluded" if "concluded" in raw else "not_concluded"
    facts = reader.texts(raw[key], f"{path}.{key}")
    return ConcludedTest(facts[0] if facts else "", key == "concluded")


def _read_belief(reader: Reader, raw: Mapping[str, Any], path: str) -> Condition:
    reader.only(raw, {"cause", "at_least"}, path)
    if reader.family in items.QUALIFY_FAMILIES:
        reader.fault(path, f"beliefs are not known yet when {reader.family} rules run")
    level = reader.number(raw, "at_least", path)
    if level is None or not 0 < level < 1:
        reader.fault(f"{path}.at_least", "must be a probability between 0 and 1")
    return BeliefTest(str(raw["cause"]), level or 0.5)


def _read_step(reader: Reader, raw: Mapping[str, Any], path: str) -> Condition:
    reader.only(raw, {"step"}, path)
    if reader.family != "cautions":
        reader.fault(path, "only cautions are about a step")
    if raw["step"] not in items.HAZARDS:
        reader.fault(f"{path}.step", unknown("hazard", raw["step"], items.HAZARDS))
    return StepTest(str(raw["step"]))


def _read_group(reader: Reader, raw: Mapping[str, Any], path: str) -> Condition | None:
    kind = next(kind for kind in ("any", "all", "none") if kind in raw)
    reader.only(raw, {kind}, path)
    if not isinstance(raw[kind], list):
        reader.fault(f"{path}.{kind}", "must be a list of conditions")
        return None
    return Group(kind, reader.conditions(raw[kind], f"{path}.{kind}"))


_READERS: Mapping[str, Callable[[Reader, Mapping[str, Any], str], Condition | None]] = {
    "machine": _read_machine,
    "check": _read_finding,
    "checks": _read_finding,
    "concluded": _read_concluded,
    "not_concluded": _read_concluded,
    "cause": _read_belief,
    "step": _read_step,
    "any": _read_group,
    "all": _read_group,
    "none": _read_group,
}


@dataclass(frozen=True)
class Action:
    """What a rule does: the kind, the check or cause it is about, and the rest."""

    kind: str
    about: tuple[str, ...] = ()
    keep: float = 0.0
    factors: tuple[tuple[str, float], ...] = ()
    roots: tuple[str, ...] = ()
    before: tuple[str, ...] = ()


# kind -> (families that may use it, other keys)
_ACTIONS: Mapping[str, tuple[tuple[str, ...], set[str]]] = {
    "set_aside": (("traps",), set()),
    "weaken": (("traps",), {"keep"}),
    "drop_causes": (("scope",), set()),
    "drop_checks": (("scope",), set()),
    "out_of_scope": (("scope",), set()),
    "shift": (("context",), set()),
    "conclude": (items.FAMILIES, set()),
    "note": (("scope", "traps", "context", "chains", "proofs"), set()),
    "ask_first": (("scope", "traps", "context", "chains", "proofs"), set()),
    "clears": (("proofs",), set()),
    "look_behind": (("chains",), {"roots", "before_replacing"}),
    "caution": (("cautions",), set()),
    "forbid": (("cautions",), {"except"}),
}


def read_action(reader: Reader, raw: Mapping[str, Any], path: str) -> Action | None:
    """Read one action; None, with a fault noted, when it cannot be read."""
    kind = next((kind for kind in _ACTIONS if kind in raw), None)
    if kind is None:
        reader.fault(path, f"is none of the actions: {', '.join(_ACTIONS)}")
        return None
    families, extra = _ACTIONS[kind]
    reader.only(raw, {kind} | extra, path)
    if reader.family not in families:
        reader.fault(f"{path}.{kind}", f"is for {', '.join(families)}, not for {reader.family}")
    if kind in ("note", "out_of_scope", "caution"):
        if raw[kind] is not True:
            reader.fault(f"{path}.{kind}", "must be true")
        return Action(kind)
    if kind == "shift":
        return _read_shift(reader, raw[kind], f"{path}.shift")
    if kind == "forbid":
        for hazard in reader.texts(raw[kind], f"{path}.{kind}"):
            if hazard not in items.HAZARDS:
                reader.fault(f"{path}.{kind}", unknown("hazard", hazard, items.HAZARDS))
    keep = reader.number(raw, "keep", path) or 0.0
    if kind == "weaken" and not 0 < keep < 1:
        reader.fault(f"{path}.keep", "must be a share between 0 and 1")
    return Action(
        kind,
        reader.texts(raw[kind], f"{path}.{kind}"),
        keep=keep,
        roots=reader.texts(raw.get("roots", []) or "", f"{path}.roots") if "roots" in extra else (),
        before=_named_checks(reader, raw, path),
    )


def _named_checks(reader: Reader, raw: Mapping[str, Any], path: str) -> tuple[str, ...]:
    """Read the checks beside an action: before a part is replaced, or excepted from a ban."""
    for key in ("before_replacing", "except"):
        if raw.get(key):
            return reader.texts(raw[key], f"{path}.{key}")
    return ()


def _read_shift(reader: Reader, raw: Any, path: str) -> Action:
    if not isinstance(raw, Mapping) or not raw:
        reader.fault(path, "must map causes to factors")
        return Action("shift")
    pairs = []
    for cause in raw:
        factor = reader.number(raw, cause, path)
        if factor is None or not 0.05 <= factor <= 20:
            reader.fault(f"{path}.{cause}", "must be a factor from 0.05 to 20")
            continue
        pairs.append((str(cause), factor))
    return Action("shift", factors=tuple(pairs))


@dataclass(frozen=True)
class Program:
    """A rule as read: what it tests and what it does."""

    conditions: tuple[Condition, ...]
    actions: tuple[Action, ...]

    def walk(self) -> Iterator[Condition]:
        """Yield every condition, nested ones too."""
        stack = list(self.conditions)
        while stack:
            one = stack.pop(0)
            yield one
            if isinstance(one, Group):
                stack.extend(one.members)


def read_rule(rule: items.Rule) -> tuple[Program, list[Fault]]:
    """Read a rule's conditions and actions; return them with the faults found."""
    reader = Reader(rule.family)
    conditions = reader.conditions(rule.when, "when")
    actions = [read_action(reader, raw, f"then[{i}]") for i, raw in enumerate(rule.then)]
    program = Program(conditions, tuple(one for one in actions if one is not None))
    return program, reader.faults
