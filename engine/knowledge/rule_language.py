"""The language of rule files: conditions and actions, each declared once as it is written.

A condition tests the machine, the findings, what other rules concluded, or (in the conclude stage)
the beliefs. See api/docs/formats.md for the forms.
"""

import functools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from marshmallow import ValidationError, fields, validate

from engine.knowledge import items
from engine.knowledge.faults import Code, Fault, Message, unknown
from engine.knowledge.shapes import (
    Loaded,
    OneOf,
    flatten,
    loader_of,
    said,
    written,
)

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
    "pull_ohms_from": items.FIGURE_SOURCES,
    "hold_ohms_from": items.FIGURE_SOURCES,
    "relay_switched": items.RELAY_SIDES,
    "hold_drive": items.HOLD_DRIVES,
}
ATTRIBUTES: Mapping[str, Sequence[str] | None] = {
    "measured_to": ("ground-pin", "body"),
    "plug": ("fitted", "removed"),
    "moment": items.MOMENTS,
    "side": ("left", "right"),
    "while": items.PROVOKED,
    "circumstances": None,
    "lead_ohms": None,
    "celsius": None,
    "meter": None,
}
Word = str | int | float


def _check_word(value: Any) -> None:
    if not isinstance(value, (str, int, float)):
        raise ValidationError(Message("must be a word or a number", Code.WRONG_TYPE))


class _Names(fields.Field[tuple[str, ...]]):
    """One name or a list of names."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> tuple[str, ...]:
        listed = value if isinstance(value, list) else [value]
        if not listed or not all(isinstance(text, str) for text in listed):
            raise ValidationError(Message("must be a name or a list of names", Code.WRONG_TYPE))
        return tuple(listed)


@dataclass(frozen=True)
class AttributeTest:
    """An attribute of a finding is present, missing, equal to a value, or above or below one."""

    name: str
    relation: str
    value: Any = None


class _Attributes(fields.Field[tuple[AttributeTest, ...]]):
    """Attributes to what is asked of them."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> tuple[AttributeTest, ...]:
        if not isinstance(value, Mapping):
            raise ValidationError(Message("must be a mapping of attributes", Code.WRONG_TYPE))
        read, wrong = [], {}
        for name, asked in value.items():
            try:
                read.append(_attribute(name, asked))
            except ValidationError as error:
                wrong[name] = error.messages
        if wrong:
            raise ValidationError(wrong)
        return tuple(read)


def _attribute(name: str, value: Any) -> AttributeTest:
    """Read one attribute. Raises ValidationError."""
    OneOf("attribute", tuple(ATTRIBUTES))(name)
    _check_word(value)
    if value in ("missing", "given"):
        return AttributeTest(name, str(value))
    words = str(value).split()
    if len(words) == 2 and words[0] in ("above", "below"):
        try:
            return AttributeTest(name, words[0], float(words[1]))
        except ValueError:
            raise ValidationError(f"'{value}' does not end in a number") from None
    known = ATTRIBUTES[name]
    if known is not None:
        OneOf(f"value of {name}", known)(value)
    return AttributeTest(name, "is", value)


Names = Annotated[tuple[str, ...], _Names]
One = Annotated[Word, functools.partial(fields.Raw, validate=_check_word)]
Many = Annotated[
    tuple[One, ...], validate.Length(min=1, error="must be a list with something in it")
]
MachineField = Annotated[
    str, functools.partial(fields.Raw, validate=OneOf("machine field", tuple(MACHINE_FIELDS)))
]


def _fold(data: Loaded, one: str, many: str) -> tuple[Word, ...] | None:
    """Return ``one: x`` or ``many: [x, y]`` as a tuple; None when neither is there."""
    listed: tuple[Word, ...] | None = data.pop(many, None)
    return (data.pop(one),) if one in data else listed


@dataclass(frozen=True)
class MachineTest:
    """A field of the machine is one of some values, or above or below a number."""

    field: MachineField = said("The field of the machine.", key="machine")
    values: tuple[Any, ...] | None = None
    above: float | None = said("It is above this.", default=None)
    below: float | None = said("It is below this.", default=None)
    is_: One | None = written("It is this; or", key="is")
    in_: Many | None = written("one of these.", key="in")

    @staticmethod
    def whole(data: Loaded) -> None:
        """Refuse values that the field cannot have, and a test of nothing."""
        data["values"] = values = _fold(data, "is_", "in_")
        known = MACHINE_FIELDS[data["field"]]
        for value in values or ():
            if known is not None:
                OneOf(f"value of {data['field']}", known)(value)
        if values is None and "above" not in data and "below" not in data:
            raise ValidationError("needs one of is, in, above, below")


@dataclass(frozen=True)
class FindingTest:
    """Some finding of one of the checks meets every test at once (or there is none, if absent)."""

    checks: Names = said("The checks, any of them.", default=())
    absent: bool = False
    outcomes: tuple[Any, ...] | None = None
    reads: Many | None = said("Its verdict is one of these.", key="reads_in", default=None)
    above: float | None = said("Its value is above this.", default=None)
    below: float | None = said("Its value is below this.", default=None)
    above_share: float | None = said("The same as a share of the system volts.", default=None)
    below_share: float | None = said("The same as a share of the system volts.", default=None)
    attributes: Annotated[tuple[AttributeTest, ...], _Attributes] = said(
        "Attributes of the finding.", key="with", default=()
    )
    check: Names | None = written("In place of checks: one.")
    outcome: One | None = written("Its outcome is this; or")
    in_: Many | None = written("one of these.", key="in")
    verdict: Annotated[str | None, OneOf("verdict", items.VERDICTS)] = written(
        "Its verdict is this.", key="reads"
    )
    given: bool | None = written("False: there is no such finding.")

    @staticmethod
    def whole(data: Loaded) -> None:
        """Take ``check``, ``outcome`` and ``reads`` as lists of one."""
        data["checks"] = data.pop("check", None) or data.get("checks", ())
        data["absent"] = data.pop("given", True) is False
        data["outcomes"] = _fold(data, "outcome", "in_")
        data["reads"] = _fold(data, "verdict", "reads")
        for verdict in data["reads"] or ():
            OneOf("verdict", items.VERDICTS)(verdict)


@dataclass(frozen=True)
class ConcludedTest:
    """Some rule concluded the fact, or none did."""

    fact: str
    wanted: bool
    concluded: Names | None = written("The fact that some rule concluded; or")
    not_concluded: Names | None = written("the fact that none did.")

    @staticmethod
    def whole(data: Loaded) -> None:
        """Take the one that is given."""
        wanted = "concluded" in data
        facts = data.pop("concluded", None) or data.pop("not_concluded")
        data.pop("not_concluded", None)
        data.update(fact=facts[0], wanted=wanted)


def _between_0_and_1(what: str) -> validate.Range:
    return validate.Range(0, 1, min_inclusive=False, max_inclusive=False,
                          error=f"must be a {what} between 0 and 1")  # fmt: skip


@dataclass(frozen=True)
class BeliefTest:
    """The belief in a cause is at least so much."""

    cause: str = said("The cause.")
    at_least: Annotated[float, _between_0_and_1("probability")] = said("The least belief.")


@dataclass(frozen=True)
class StepTest:
    """The step in question carries the hazard."""

    hazard: Annotated[str, OneOf("hazard", items.HAZARDS)] = said("The hazard.", key="step")


class _Condition(fields.Field[Any]):
    """One condition, of the form that its keys tell."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        if not isinstance(value, Mapping):
            raise ValidationError(Message("must be a mapping", Code.WRONG_TYPE))
        form = next((FORMS[key] for key in FORMS if key in value), None)
        if form is None:
            raise ValidationError(f"is none of the forms of a condition: {', '.join(FORMS)}")
        return loader_of(form).load(value)


Several = tuple[Annotated[Any, _Condition], ...]


@dataclass(frozen=True)
class Group:
    """``any``, ``all`` or ``none`` of several conditions."""

    kind: str
    members: tuple["Condition", ...]
    any: Several | None = written("Any of these holds.")
    all: Several | None = written("All of these hold.")
    none: Several | None = written("None of these holds.")

    @staticmethod
    def whole(data: Loaded) -> None:
        """Refuse two kinds at once."""
        if len(data) != 1:
            raise ValidationError("has exactly one of any, all, none")
        kind, members = data.popitem()
        data.update(kind=kind, members=members)


Condition = MachineTest | FindingTest | ConcludedTest | BeliefTest | StepTest | Group
# key that tells the form -> the form
FORMS: Mapping[str, Callable[..., Condition]] = {
    "machine": MachineTest, "check": FindingTest, "checks": FindingTest,
    "concluded": ConcludedTest, "not_concluded": ConcludedTest, "cause": BeliefTest,
    "step": StepTest, "any": Group, "all": Group, "none": Group,
}  # fmt: skip

# kind -> (families that may use it, other keys)
_BUT_CAUTIONS = ("scope", "traps", "context", "chains", "proofs")
ACTIONS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "set_aside": (("traps",), ()),
    "weaken": (("traps",), ("keep",)),
    "drop_causes": (("scope",), ()),
    "drop_checks": (("scope",), ()),
    "out_of_scope": (("scope",), ()),
    "shift": (("context",), ()),
    "at_times": (("context",), ("while",)),
    "conclude": (items.FAMILIES, ()),
    "note": (_BUT_CAUTIONS, ()),
    "ask_first": (_BUT_CAUTIONS, ()),
    "clears": (("proofs",), ()),
    "look_behind": (("chains",), ("roots", "before_replacing")),
    "caution": (("cautions",), ()),
    "forbid": (("cautions",), ("except",)),
}
Factor = Annotated[
    float, validate.Range(min=0.05, max=20, error="must be a factor from 0.05 to 20")
]
Factors = Annotated[
    Mapping[str, Factor], validate.Length(min=1, error="must map causes to factors")
]


@dataclass(frozen=True)
class Action:
    """What a rule does: the kind, the check or cause it is about, and the rest."""

    kind: str
    about: tuple[str, ...] = ()
    keep: Annotated[float, _between_0_and_1("share")] = said(
        "The share that a weakened finding counts.", default=0.0
    )
    factors: tuple[tuple[str, float], ...] = ()
    factor: float = 1.0
    roots: Names = said("What may have made the cause.", default=())
    before: tuple[str, ...] = ()
    set_aside: Names | None = written("The check whose findings count for nothing.")
    weaken: Names | None = written("The check whose findings count less.")
    drop_causes: Names | None = written("Causes that this machine cannot have.")
    drop_checks: Names | None = written("Checks that this machine cannot have.")
    out_of_scope: items.Flag | None = written("The machine has no such circuit.")
    shift: Factors | None = written("Prior odds times this.")
    at_times: items.Positive | None = written(
        "The fault comes and goes: the odds of causes that can, times this."
    )
    while_: Annotated[str | None, OneOf("while", items.PROVOKED)] = said(
        "What brings it on.", key="while", default=None
    )
    conclude: Names | None = written("A fact for other rules.")
    note: items.Flag | None = written("The three sentences are shown.")
    ask_first: Names | None = written("The check that is offered first.")
    clears: Names | None = written("Causes that the finding proves absent.")
    look_behind: Names | None = written("The cause that something else made.")
    caution: items.Flag | None = written("The three sentences are a caution.")
    forbid: tuple[items.Hazard, ...] | None = written("No check with such a hazard is proposed.")
    before_replacing: Names | None = written("Checks before the part is fitted.")
    except_: Names | None = written("Checks that may be proposed all the same.", key="except")

    @staticmethod
    def whole(data: Loaded) -> None:
        """Turn the key of the kind into ``kind`` and what it is about."""
        kind = next(one for one in ACTIONS if one in data)
        allowed = (kind, *ACTIONS[kind][1])
        keys = [key.rstrip("_") for key in data]
        wrong = {one: [unknown("key", one, allowed)] for one in keys if one not in allowed}
        if wrong:
            raise ValidationError(wrong)
        if kind == "weaken" and "keep" not in data:
            raise ValidationError("must be a share between 0 and 1", "keep")
        about = data.pop(kind)
        if kind == "shift":
            data["factors"] = tuple(about.items())
        if kind == "at_times":
            data["factor"] = about
        data["before"] = data.pop("before_replacing", None) or data.pop("except_", ())
        data.update(kind=kind, about=about if isinstance(about, tuple) else ())


class _Action(fields.Field[Action]):
    """One action, of the kind that its keys tell."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Action:
        if not any(kind in value for kind in ACTIONS):
            raise ValidationError(f"is none of the actions: {', '.join(ACTIONS)}")
        return loader_of(Action).load(value)


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

    @functools.cached_property
    def concludes(self) -> tuple[str, ...]:
        """Return the facts that the rule concludes."""
        return tuple(fact for one in self.actions if one.kind == "conclude" for fact in one.about)


def read_rule(rule: items.Rule) -> tuple[Program, list[Fault]]:
    """Read a rule's conditions and actions; return them with the faults found."""
    faults: list[Fault] = []
    conditions = []
    for number, raw in enumerate(rule.when):
        path = f"when[{number}]"
        condition: Any = _read(_Condition(), raw, path, faults)
        if condition is not None:
            conditions.append(condition)
            faults += _wrong_family(rule.family, condition, path)
    actions = []
    for number, raw in enumerate(rule.then):
        for kind in (one for one in ACTIONS if one in raw and rule.family not in ACTIONS[one][0]):
            message = f"is for {', '.join(ACTIONS[kind][0])}, not for {rule.family}"
            faults.append(Fault(f"then[{number}].{kind}", message))
        action: Any = _read(_Action(), raw, f"then[{number}]", faults)
        actions += [action] if action is not None else []
    return Program(tuple(conditions), tuple(actions)), faults


def _read(form: fields.Field[Any], raw: Any, path: str, faults: list[Fault]) -> Any:
    """Return what is read; None, with faults noted, when it cannot be."""
    try:
        return form.deserialize(raw)
    except ValidationError as error:
        faults += flatten(error.messages, path)
        return None


def _wrong_family(family: str, condition: Condition, path: str) -> Iterator[Fault]:
    """Yield faults of tests that a rule of the family cannot ask."""
    for test in Program((condition,), ()).walk():
        if isinstance(test, BeliefTest) and family in items.QUALIFY_FAMILIES:
            yield Fault(path, f"beliefs are not known yet when {family} rules run")
        if isinstance(test, StepTest) and family != "cautions":
            yield Fault(path, "only cautions are about a step")
