"""What the knowledge base is made of: one class a kind of file, its fields declared once.

Keys of a file are the fields made with :func:`said` and :func:`written`, in that order; the other
fields follow from them in the class's ``whole``, which also refuses what does not go together.
"""

import functools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Literal, Self

from marshmallow import ValidationError, fields, validate

from engine.knowledge.shapes import (
    KEBAB,
    Extent,
    Loaded,
    Number,
    OneOf,
    Series,
    Text,
    loader_of,
    missing,
    said,
    schema_of,
    written,
)
from engine.knowledge.speech import Spoken, spoken

Distribution = Mapping[str, float]
Range = tuple[float, float]

DUTIES = ("fuel-shutoff", "brake-release")
CONTROLS = ("ignition-timed", "controller-on-crank", "controller-on-request")
COILS = ("case-ground", "body-ground")
ACTUATIONS = ("external-lever", "in-block", "top-plunge")
SYSTEM_VOLTS = (12, 24)
MOMENTS = ("key-off", "key-on", "crank", "running", "release-request")
PHASES = ("off", "on-command", "after-command", "cranking", "running")
PROVOKED = ("shaken", "heated", "wetted")
FIGURE_SOURCES = ("plate", "manual", "twin", "new-part")
# how machines with one circuit may be built: the usual way and the other one
BUILDS = {"hold_drive": ("steady", "chopped"), "relay_switched": ("high", "low")}
HOLD_DRIVES = (*BUILDS["hold_drive"], "unknown")
RELAY_SIDES = (*BUILDS["relay_switched"], "unknown")
READ_KINDS = ("lamp", "meter", "clamp")  # what can be kept in view while the fault is brought on
# the dangers that bringing a fault on adds to those of the step
HAZARDS_OF_PROVOKED = {
    "shaken": frozenset({"moving", "plunger"}),
    "heated": frozenset({"hot"}),
    "wetted": frozenset({"live"}),
}
SECTIONS = ("supply", "control", "wiring", "solenoid", "mechanism", "outside")
USUAL_KINDS = ("ask", "look", "try", "lamp", "meter", "clamp")
KINDS = (
    *USUAL_KINDS,
    "recorder",
)  # nobody is sent for a recorder who did not say that one is there
FAMILIES = ("scope", "traps", "context", "proofs", "chains", "cautions")
QUALIFY_FAMILIES = ("scope", "traps", "context")
VERDICTS = ("good", "low", "high", "open", "cannot-say")
HAZARDS = (
    "cranks", "energises", "releases-brake", "opens-fuel", "live", "ohms", "jumper", "plunger",
    "hot", "hand-energise", "under-machine", "interlock", "battery", "moving", "pressurised",
)  # fmt: skip
# A check for both duties may name a danger that only one of them has.
HAZARDS_OF_DUTY = {"releases-brake": "brake-release", "opens-fuel": "fuel-shutoff"}
SETUPS = (
    "none", "plug", "relay", "battery", "fuse", "controller", "engine-side", "under-cover",
    "bench", "key",
)  # fmt: skip
EVENTS = (
    "relay-operates", "pull-is-strong", "pulls-in", "stays-in", "stays-in-cranking",
    "stays-in-running", "comes-out", "pull-stays-on", "fuse-opens", "fuse-is-open",
    "hand-held-stays", "plunger-free", "plunger-moves", "plunger-bottoms", "spring-returns",
    "linkage-follows", "lock-holds", "fuel-arrives", "engine-turns", "machine-drives",
    "cranks-at-speed", "hold-is-chopped", "bench-pulls", "bench-holds", "works-now",
    "works-with-jumper", "works-with-relay-swapped", "lamp-pull-bright", "lamp-pull-lit",
    "lamp-hold-bright", "lamp-hold-lit",
)  # fmt: skip
NOWHERE = "nowhere"
UNITS = ("V", "A", "ohm", "s")


Id = Annotated[str, KEBAB]
Prose = Annotated[str, Text]
Ids = tuple[Id, ...]
Positive = Annotated[float, validate.Range(min=0, min_inclusive=False)]
NotNegative = Annotated[float, validate.Range(min=0)]
Share = Annotated[float, validate.Range(min=0, max=1)]
Ohms = Annotated[float, validate.Range(min=1e-6, max=1e9)]
Tolerance = Annotated[float, validate.Range(min=0, max=2)]
Volts = Annotated[int, OneOf("system_volts", SYSTEM_VOLTS)]
Duty = Annotated[str, OneOf("duty", DUTIES)]
Control = Annotated[str, OneOf("control", CONTROLS)]
Style = Annotated[str, OneOf("coil", COILS)]
PhaseName = Annotated[str, OneOf("phase", PHASES)]
Hazard = Annotated[str, OneOf("hazard", HAZARDS)]
Flag = Annotated[bool, validate.Equal(True, error="must be true")]
Span = Annotated[Range, Extent]
SOURCE = "A published standard, common practice or judgement."


class Node(fields.Field[dict[str, str]]):
    """A node, or a map of coil style to node; read into a map of coil style to node."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> dict[str, str]:
        found = value if isinstance(value, Mapping) else dict.fromkeys(COILS, value)
        if set(found) != set(COILS) or not all(isinstance(v, str) for v in found.values()):
            raise ValidationError("a node, or {case-ground: node, body-ground: node}")
        return dict(found)


NodeByStyle = Annotated[Mapping[str, str], Node]


@dataclass(frozen=True, kw_only=True)
class Item:
    """Anything with an id and a file; ``raw`` is the file's content in file order."""

    id: Id = said("The stem of its file, in lower case with single hyphens.")
    raw: Mapping[str, Any] = field(repr=False, compare=False, default_factory=dict)
    file: str = field(compare=False, default="")

    def as_dict(self) -> dict[str, Any]:
        """Return the item as plain JSON-able data in the order of its file."""
        return dict(self.raw)


@dataclass(frozen=True)
class Applies:
    """Machines: every key that is there must hold; without any it is every machine."""

    duty: tuple[Duty, ...] | None = said("Duties.", default=None)
    control: tuple[Control, ...] | None = said("Control types.", default=None)
    coil: tuple[Style, ...] | None = said("Coil styles.", default=None)
    system_volts: tuple[Volts, ...] | None = said("System volts.", default=None)
    fuel_actuation: tuple[Annotated[str, OneOf("fuel_actuation", ACTUATIONS)], ...] | None = said(
        "How the fuel lever is worked.", default=None
    )

    def stated(self) -> dict[str, tuple[Any, ...]]:
        """Return the keys that are there."""
        return {key: value for key, value in vars(self).items() if value is not None}

    def holds(self, facts: Mapping[str, Any]) -> bool:
        """Return whether it holds; a fact that is not known does not speak against it."""
        return all(facts.get(key) in (None, *allowed) for key, allowed in self.stated().items())


def applies(alternatives: Iterable[Applies], *, circuit: "Circuit", **facts: Any) -> bool:
    """Return whether any alternative holds on a circuit, with other facts by their names.

    What is not stated does not speak against it.
    """
    facts |= {"duty": circuit.duty, "control": circuit.control}
    return any(one.holds(facts) for one in alternatives)


def _fold_applies(data: Loaded) -> None:
    """Lay ``applies`` or ``applies_any`` into one tuple of alternatives."""
    if ("applies" in data) == ("applies_any" in data):
        raise ValidationError("give either applies or applies_any", "applies")
    data["applies"] = data.pop("applies_any", None) or (data["applies"],)


Where = Annotated[tuple[Applies, ...], functools.partial(fields.Nested, schema_of(Applies))]


@dataclass(frozen=True)
class Need:
    """A switch closes only while ``node`` is at ``min_volts`` (12 V basis) above ``across``."""

    node: Id = said("The node that is fed.")
    min_volts: float = said("Volts that it needs, 12 V basis.")
    across: Id = said("The node that the volts are counted from.", default="chassis")
    phases: tuple[PhaseName, ...] = said("The phases in which it needs them.", default=PHASES)


@dataclass(frozen=True, kw_only=True)
class Part:
    """One two-terminal part of a circuit; ohms and volts are those of a 12 V machine."""

    id: Id = said("Its id.")
    kind: Literal["wire", "load", "source", "contact"] = said("What it is.")
    between: tuple[str, str] = said("The two nodes that it joins.")
    ohms: Ohms | None = said("Its ohms.", default=None)
    tolerance: Tolerance = said("Spread of its ohms, as a share.", default=0.0)
    unstated_tolerance: Tolerance | None = said(
        "The same where the machine's own ohms are not stated.", default=None
    )
    volts: float = said("Volts of a source.", default=0.0)
    volts_tolerance: float = said("Spread of its volts.", default=0.0)
    switched: bool = said("True when it is made in some phases only.", default=False)
    absent: bool = said("True when only a cause or a test puts it in.", default=False)
    at_plug: bool = said("True when it goes as the plug is pulled.", default=False)
    copper: bool = said("True when its ohms rise with temperature.", default=False)
    cold: float = said("Share by which its ohms grow for each degree under 20 C.", default=0.0)
    blade_fuse: bool = said("True for a blade fuse.", default=False)
    trips_at_amps: float | None = said("Amperes at which it trips.", default=None)
    needs: tuple[Need, ...] = said("What a switch needs in order to close.", default=())
    operated_by: tuple[str, str] | None = said("Nodes of the coil of a contact.", default=None)
    operate_volts: float = said("Volts at which the coil closes it.", default=0.0)
    release_volts: float = said("Volts at which the coil lets it go.", default=0.0)
    source: Prose = said(SOURCE)

    @staticmethod
    def whole(data: Mapping[str, Any]) -> None:
        """Refuse a part without ohms and a contact without a coil."""
        if data.get("absent") is not True and "ohms" not in data:
            raise ValidationError("a part that is there has ohms", "ohms")
        if data.get("kind") == "contact" and "operated_by" not in data:
            raise ValidationError("a contact names the coil that works it", "operated_by")


@dataclass(frozen=True)
class Phase:
    """A state of the machine: its moment and the switched parts that are made in it."""

    id: PhaseName = said("Its id.")
    moment: Annotated[str, OneOf("moment", MOMENTS)] = said("What the key is doing.")
    made: Ids = said("The switched parts that are made.")
    supply_u: NotNegative = said(
        "Standard uncertainty of the supply at 12 V, where nobody says whether the engine runs.",
        default=0.0,
    )


@dataclass(frozen=True, kw_only=True)
class Setting:
    """A number that is not an ohm: its healthy value and its spread from machine to machine."""

    id: Id = said("Its id.")
    healthy: float = said("Its value on a healthy machine.")
    log_sigma: float = said("Spread between machines, in logs.", default=0.0)
    source: Prose = said(SOURCE)


@dataclass(frozen=True, kw_only=True)
class Chopping:
    """How an output shows on a meter where a controller chops it, on a 12 V machine."""

    part: Id = said("The output that is chopped.")
    volts_off: Mapping[PhaseName, float] = said(
        "What chopping takes off the average volts of the output, by phase."
    )
    tolerance: Tolerance = said("Spread of these volts, as a share.")
    share: Share = said("Share of machines that chop it, where nobody said.")
    shown_by: Ids = said("The checks that read otherwise where it is chopped.")
    source: Prose = said(SOURCE)


@dataclass(frozen=True, kw_only=True)
class SwitchedLow:
    """How the relay is wired where a controller pulls the ground side of its coil down."""

    parts: Mapping[str, Part] = said("The parts that lie otherwise then.")
    share: Share = said("Share of machines that are wired so, where nobody said.")
    shown_by: Ids = said("The checks that read otherwise then.")
    source: Prose = said(SOURCE)


@dataclass(frozen=True)
class Coil:
    """What a coil style adds to the circuit, what its ground point is called, where leads go."""

    name: Prose = said("What the style is called.")
    ground_point: Prose = said("What a person finds its ground at.")
    probe: Mapping[Annotated[str, OneOf("measured_to", ("ground-pin", "body"))], Id] = said(
        "The node that a lead touches when ohms are said to be measured to it; or nowhere."
    )
    parts: tuple[Part, ...] = said("The parts that it brings.")


@dataclass(frozen=True)
class FuseAmps:
    """Rating of the pull feed fuse on a 12 and a 24 V machine."""

    at_12_v: float = said("Amperes at 12 V.")
    at_24_v: float = said("Amperes at 24 V.")
    source: Prose = said(SOURCE)


@dataclass(frozen=True)
class OhmsAt24Volts:
    """What the 12 V ohms of each kind of part are multiplied by on a 24 V machine."""

    loads: Positive = said("Loads.")
    batteries: Positive = said("Batteries.")
    wires: Positive = said("Wires and fuses.")
    contacts: Positive = said("Contacts.")
    source: Prose = said(SOURCE)

    def of(self, kind: str) -> float:
        """Return the factor of a kind of part."""
        factors = {"load": self.loads, "source": self.batteries, "wire": self.wires,
                   "contact": self.contacts}  # fmt: skip
        return factors[kind]


@dataclass(frozen=True)
class Plunger:
    """Force margins of the plunger, as shares of the rated currents."""

    pull_in_share: float = said("Share of the pull current at which it moves.")
    pull_in_log_sigma: float = said("Spread of that, in logs.")
    hold_share: float = said("Share of the hold current at which it stays.")
    hold_log_sigma: float = said("Spread of that, in logs.")
    seated_gap_mm: float = said("Gap in mm at which it is seated.")
    pull_seated_strength: float = said("Strength of the pull winding when it is seated.")
    travel_seconds: float = said("Seconds that it travels.")
    travel_log_sigma: float = said("Spread of that, in logs.")
    source: Prose = said(SOURCE)


_OF_THE_BASE = ("coils", "fuse_amps", "ohms_at_24_v", "settings", "plunger")
_OF_A_CIRCUIT = (
    "base", "duty", "control", "command_words", "listen_words", "hold_words", "phases", "brings",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Circuit(Item):
    """A duty x control circuit, its base laid in; a base is ``abstract`` and has only parts."""

    name: Prose = said("What it is called.")
    abstract: bool = said("True for the base that others are laid over.", default=False)
    base: Id = said("The base that it is laid over.", default="")
    duty: Duty = said("What the solenoid does.", default="")
    control: Control = said("How it is commanded.", default="")
    source: Prose = said(SOURCE)
    command_words: Prose = said("When the pull is commanded, in words.", default="")
    listen_words: Prose = said("When to listen, in words.", default="")
    hold_words: Prose = said("When the hold is fed, in words.", default="")
    nodes: Ids = said("Its nodes.")
    parts: Mapping[str, Part] = said("Its parts.")
    phases: Mapping[str, Phase] = said("Its phases.", default=())
    brings: Mapping[PhaseName, tuple[Hazard, ...]] = said("Hazards of a phase.", default=())
    coils: Mapping[Style, Coil] = said("The coil styles.", default=())
    fuse_amps: Annotated[
        Mapping[int, float], functools.partial(fields.Nested, schema_of(FuseAmps, made=False))
    ] = said("The pull feed fuse.", default=())
    ohms_at_24_v: OhmsAt24Volts = said("Ohms on a 24 V machine.", default=None)
    settings: Mapping[str, Setting] = said("Numbers that are not ohms.", default=())
    plunger: Plunger = said("Force margins of the plunger.", default=None)
    chopping: Chopping | None = said("How it shows where its hold is chopped.", default=None)
    switched_low: SwitchedLow | None = said(
        "How its relay is wired where the controller switches the ground side.", default=None
    )

    @staticmethod
    def whole(data: Loaded) -> None:
        """Refuse a base without coils, and a circuit without duty, control and phases."""
        missing(data, _OF_THE_BASE if data.get("abstract") else _OF_A_CIRCUIT)
        if "fuse_amps" in data:
            amps = data["fuse_amps"]
            data["fuse_amps"] = {12: amps["at_12_v"], 24: amps["at_24_v"]}

    def over(self, base: "Circuit") -> Self:
        """Return the circuit with what its base brings."""
        return replace(
            self, parts={**base.parts, **self.parts}, coils=base.coils,
            nodes=tuple(dict.fromkeys([*base.nodes, *self.nodes])), fuse_amps=base.fuse_amps,
            ohms_at_24_v=base.ohms_at_24_v, settings=base.settings, plunger=base.plunger,
        )  # fmt: skip

    def ohms_factor(self, system_volts: int, kind: str = "load") -> float:
        """Return what the 12 V ohms of a kind of part are multiplied by."""
        return self.ohms_at_24_v.of(kind) if system_volts == 24 else 1.0

    def fault_factor(self, system_volts: int, kind: str, place: float) -> float:
        """Return what the 12 V ohms of a fault in a kind of part are multiplied by.

        ``place`` is 0 for the mildest of the fault and 1 for the worst. A joint begins to be bad at
        the same ohms on either voltage; to take the coil's volts it has to grow further on 24 V
        (judgement).
        """
        mildest, worst = self.ohms_factor(system_volts, kind), self.ohms_factor(system_volts)
        return float(mildest ** (1.0 - place) * worst**place)

    def otherwise(self, build: str) -> Chopping | SwitchedLow | None:
        """Return what is other where it is built the other way (of ``BUILDS``), if it may be."""
        return self.chopping if build == "hold_drive" else self.switched_low

    def with_relay_low(self) -> Self:
        """Return the circuit as it is where the controller switches the ground side of the relay.

        A circuit that is never wired so stays as it is.
        """
        parts = self.switched_low.parts if self.switched_low else {}
        return replace(self, parts={**self.parts, **parts})

    def with_coil(self, *styles: str) -> Self:
        """Return the circuit with the parts of coil styles laid in."""
        extra = {part.id: part for style in styles for part in self.coils[style].parts}
        return replace(self, parts={**self.parts, **extra})


@dataclass(frozen=True)
class Change:
    """What a state does to one part or setting.

    ``action`` is open, closed, never, ohms, add_ohms, times_ohms, volts, value or times; ``to`` is
    where a range ends, equal to ``start`` for a plain number.
    """

    target: Literal["part", "setting"]
    id: str
    action: str
    start: float = 0.0
    to: float = 0.0
    part: Id | None = written("The part that is changed; or")
    setting: Id | None = written("the setting that is changed.")
    open: Flag | None = written("The part is open.")
    closed: Flag | None = written("The switch never opens.")
    never: Flag | None = written("The switch never closes.")
    ohms: Span | None = written("Its ohms are these.")
    add_ohms: Span | None = written("It has so many ohms more.")
    times_ohms: Span | None = written("Its ohms are times this.")
    volts: Span | None = written("Its volts are these.")
    value: Span | None = written("The setting is this.")
    times: Span | None = written("The setting is times this.")
    phases: tuple[PhaseName, ...] = said("The phases in which it changes.", default=PHASES)

    @staticmethod
    def whole(data: Loaded) -> None:
        """Turn the one action that is written into ``action``, ``start`` and ``to``."""
        if ("part" in data) == ("setting" in data):
            raise ValidationError("names either a part or a setting")
        target = "part" if "part" in data else "setting"
        allowed = ("value", "times") if target == "setting" else _PART_ACTIONS
        given = [key for key in data if key not in ("part", "setting", "phases")]
        if len(given) != 1 or given[0] not in allowed:
            raise ValidationError(f"has exactly one of {', '.join(allowed)}")
        extent = data.pop(given[0])
        start, to = extent if isinstance(extent, tuple) else (0.0, 0.0)
        data.update(target=target, id=data.pop(target), action=given[0], start=start, to=to)

    @property
    def span(self) -> float:
        """Return over how many logs it spreads with severity; 0 for a plain number."""
        return 0.0 if self.start == self.to else math.log(self.to / self.start)


_PART_ACTIONS = ("open", "closed", "never", "ohms", "add_ohms", "times_ohms", "volts")


@dataclass(frozen=True)
class State:
    """One way in which a cause shows itself in the circuit."""

    id: Id = said("Its id.")
    weight: Positive = said("How often, beside the other states.")
    changes: tuple[Change, ...] = said("What it does to the circuit.")
    system_volts: tuple[Volts, ...] = said("System volts it can be at.", default=SYSTEM_VOLTS)


@dataclass(frozen=True)
class OwnFigure:
    """The machine's own figure against which alone a part is condemned."""

    figure: Literal["pull_ohms", "hold_ohms"] = said("The field of the machine.")
    otherwise: Prose = said("What is said where the machine does not state it.")


@dataclass(frozen=True, kw_only=True)
class Cause(Item):
    """Something that can be wrong."""

    name: Prose = said("What a technician would say.")
    section: Annotated[str, OneOf("section", SECTIONS)] = said("Part of the circuit.")
    applies: Where = said("Where it applies.", default=())
    applies_any: tuple[Applies, ...] | None = written("In place of applies: any one of these.")
    share: Positive = said("Relative frequency among calls.")
    minutes: Positive = said("Minutes to put it right.")
    source: Prose = said(SOURCE)
    states: tuple[State, ...] = said("In which degrees it occurs.", least=1)
    looks_like: Prose = said("How it shows itself, and what it is mistaken for.")
    remedy: Prose = said("What to do about it.")
    proof_of_repair: Prose = said("What proves the repair.")
    confirmed_by: Ids = said("The checks that confirm it.")
    hazards: tuple[Hazard, ...] = said("Dangers of the remedy; the cautions hang on them.")
    own_figure: OwnFigure | None = said("The figure that condemns it.", default=None)
    comes_and_goes: Share = said(
        "Share of its cases in which it is there at times only.", default=0.0
    )
    brought_by_new_part: Flag | None = said(
        "True for what only a wrong replacement part brings.", default=None
    )

    another_trade: Flag | None = said(
        "True for what somebody of another trade puts right, found or not.", default=None
    )

    whole = staticmethod(_fold_applies)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """How a meter check is predicted: what is read, where, when, with what connected."""

    quantity: Literal["voltage", "current", "resistance", "seconds"] = said("What is read.")
    from_node: NodeByStyle = said("Node of the red lead.", key="from", default=())
    to_node: NodeByStyle = said("Node of the black lead.", key="to", default=())
    part: Id = said("The part whose current it is.", default="")
    phase: PhaseName = said("When it is read.")
    plug: Literal["fitted", "removed"] | None = written("The plug.", required=True)
    load: Literal["none", "lamp-pull", "lamp-hold"] = said("What is put in.", default="none")
    plug_fitted: bool
    unit: str
    low: float
    high: float
    repeatability: float
    instrument: str

    @staticmethod
    def whole(data: Loaded) -> None:
        """Refuse a voltage without nodes and a current without a part."""
        nodes = {"from_node", "to_node"} <= set(data)
        if data["quantity"] in ("voltage", "resistance") and not nodes:
            raise ValidationError("a voltage or resistance is read from a node to a node", "from")
        if data["quantity"] == "current" and "part" not in data:
            raise ValidationError("a current is that of a part", "part")
        data["from_node"], data["to_node"] = data.get("from_node", {}), data.get("to_node", {})
        data["plug_fitted"] = data.pop("plug") == "fitted"


@dataclass(frozen=True)
class Branch:
    """A node of an outcome tree: a test, and what holds when it is true and when it is not."""

    test: str | Applies
    then: "Branch | Distribution"
    otherwise: "Branch | Distribution"


class Tree(fields.Field[Any]):
    """A distribution, or ``{if: EVENT or machine, then: TREE, else: TREE}``."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Branch | dict[str, float]:
        return _tree(value, "")


def _tree(value: Any, path: str) -> Branch | dict[str, float]:
    """Read a tree; raises ValidationError naming the path inside it."""
    if not isinstance(value, Mapping):
        raise ValidationError(f"{path or 'the tree'}: a distribution or if/then/else")
    if "if" not in value:
        return _distribution(value, path)
    if set(value) != {"if", "then", "else"}:
        raise ValidationError(f"{path or 'the tree'}: a branch has if, then and else")
    test: Any = value["if"]
    if isinstance(test, str):
        OneOf("event", EVENTS)(test)
    else:
        test = loader_of(Applies).load(test)
    return Branch(test, _tree(value["then"], path + ".then"), _tree(value["else"], path + ".else"))


def _distribution(value: Mapping[str, Any], path: str) -> dict[str, float]:
    """Read outcome shares that sum to 1."""
    shares: dict[str, float] = {
        str(name): Number().deserialize(share) for name, share in value.items()
    }
    place = path.lstrip(".") or "the distribution"
    if any(share < 0 for share in shares.values()):
        raise ValidationError(f"{place}: shares are not negative")
    if abs(sum(shares.values()) - 1.0) > 1e-6:
        raise ValidationError(f"{place}: shares sum to {sum(shares.values()):.4g}, not to 1")
    return shares


ATree = Annotated[Any, Tree]


@dataclass(frozen=True, kw_only=True)
class Outcomes:
    """How an outcome check is predicted: rows by cause, else a tree over events."""

    given: Mapping[str, ATree] = said("Trees by cause or cause/state; they win.", default=())
    tree: ATree = said("The tree for all others.", key="otherwise")
    names: tuple[str, ...]
    slip: float
    words: Mapping[str, str]

    @staticmethod
    def whole(data: Loaded) -> None:
        """Take no rows as none."""
        data.setdefault("given", {})


@dataclass(frozen=True)
class Result:
    """Either a reading's unit and range, or the outcomes."""

    unit: Annotated[str, OneOf("unit", UNITS)] | None = said("Unit of a reading.", default=None)
    low: float | None = said("Lowest reading that is taken.", default=None)
    high: float | None = said("Highest reading that is taken.", default=None)
    outcomes: Ids | None = said("The outcomes, of an outcome check.", default=None, least=2)

    @staticmethod
    def whole(data: Mapping[str, Any]) -> None:
        """Refuse a mixture of the two."""
        if set(data) not in ({"unit", "low", "high"}, {"outcomes"}):
            raise ValidationError("give unit, low and high, or outcomes")


@dataclass(frozen=True)
class Spread:
    """A number with its source."""

    value: NotNegative = said("The number.")
    source: Prose = said(SOURCE)


@dataclass(frozen=True, kw_only=True)
class Check(Item):
    """Something that can be asked, looked at, tried or measured."""

    name: Prose = said("What it is called.")
    kind: Annotated[str, OneOf("kind", KINDS)] = said("Kind of check.")
    applies: Where = said("Where it applies.", default=())
    applies_any: tuple[Applies, ...] | None = written("In place of applies: any one of these.")
    shared_between_sides: bool = said("True when it concerns both brake solenoids.")
    minutes: NotNegative = said("Minutes that it takes.")
    setup: Annotated[str, OneOf("setup", SETUPS)] = said("Position or kit that checks share.")
    result: Result | None = written("What it gives.", required=True)
    predicted_by: Annotated[Any, fields.Dict] = written(
        "How it is predicted: as a reading or as outcomes.", required=True
    )
    repeatability: Spread | None = written("Standard uncertainty of a reading done again.")
    instrument: Id | None = written("Id in the table of instruments, of a reading.")
    slip: Spread | None = written("Share of outcomes that are simply wrong.")
    outcome_words: Mapping[str, Prose] | None = written("Each outcome in a caller's words.")
    say: Prose = said("The sentence to read to a caller.")
    how: Prose = said("How to do it; words in braces are filled in for each machine.")
    why: Prose = said("What it settles.")
    hazards: tuple[Hazard, ...] = said("Dangers of doing it; the cautions hang on them.")
    commanded: bool = said("True when the pull must be commanded.", default=False)
    remembered: bool = said(
        "True when it asks only for what was seen before: nothing is done for it.", default=False
    )
    source: Prose = said(SOURCE)
    reading: Reading | None = None
    outcomes: Outcomes | None = None

    @staticmethod
    def whole(data: Loaded) -> None:
        """Make the reading or the outcomes of what is written."""
        _fold_applies(data)
        result: Any = data.pop("result")
        is_outcome = result.outcomes is not None
        missing(data, ("slip", "outcome_words") if is_outcome else ("repeatability", "instrument"))
        form = loader_of(Outcomes if is_outcome else Reading, made=False)
        try:
            predicted: Any = form.load(data.pop("predicted_by"))
        except ValidationError as error:
            raise ValidationError({"predicted_by": error.messages}) from None
        own = {
            key: data.pop(key, None)
            for key in ("repeatability", "instrument", "slip", "outcome_words")
        }
        if is_outcome:
            data["outcomes"] = Outcomes(
                **predicted, names=result.outcomes, slip=own["slip"].value,
                words=own["outcome_words"],
            )  # fmt: skip
        else:
            data["reading"] = Reading(
                **predicted, unit=result.unit, low=result.low, high=result.high,
                repeatability=own["repeatability"].value, instrument=own["instrument"],
            )  # fmt: skip


@dataclass(frozen=True)
class Because:
    """The three parts of every message: what was found, why it points there, what to do next."""

    found: Prose = said("What was found.")
    points: Prose = said("Why it points there.")
    next: Prose = said("What to do next.")

    @property
    def why(self) -> str:
        """Return what was found and why it points there."""
        return f"{self.found} {self.points}"


Forms = Annotated[tuple[Mapping[str, Any], ...], functools.partial(Series, fields.Dict())]


@dataclass(frozen=True, kw_only=True)
class Rule(Item):
    """If-then knowledge; conditions and actions are read by engine.knowledge.rule_language."""

    family: Annotated[str, OneOf("family", FAMILIES)] = said("What it is for; its folder.")
    title: Prose = said("What it holds, in a sentence.")
    when: Forms = said("Conditions; all must hold.", least=1)
    then: Forms = said("What follows.", least=1)
    because: Because = said("What is said when it fires.")
    source: Prose = said(SOURCE)

    @property
    def stage(self) -> Literal["qualify", "prove", "conclude"]:
        """Return the stage in which the rule runs."""
        if self.family in QUALIFY_FAMILIES:
            return "qualify"
        return "prove" if self.family == "proofs" else "conclude"


@dataclass(frozen=True, kw_only=True)
class Table(Item):
    """A published table: rows as they stand, with their source."""

    title: Prose = said("What it holds.")
    source: Prose = said(SOURCE)
    rows: Forms = said("The rows; those that the engine reads have an id.", least=1)


class SpokenPhrase(fields.String):
    """A phrase as callers say it; one place may have several words: ``dies/quits at idle``."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        try:
            return spoken(super()._deserialize(value, *args, **kwargs))
        except ValueError as error:
            raise ValidationError(str(error)) from None


@dataclass(frozen=True)
class HeardFinding:
    """An outcome of a check that is not measured."""

    check: Id = said("The check.")
    outcome: Id = said("Its outcome.")
    moment: Annotated[str, OneOf("moment", MOMENTS)] | None = said(
        "What the key was doing, where the phrases say it.", default=None
    )

    @property
    def of_check(self) -> str:
        """Return check, outcome and moment as one name: ``relay-click=not-heard@key-on``."""
        return f"{self.check}={self.outcome}" + (f"@{self.moment}" if self.moment else "")


@dataclass(frozen=True, kw_only=True)
class PhraseMeaning:
    """What some phrases may mean, and the phrases."""

    duty: Duty | None = said("The only duty on which they mean it.", default=None)
    caution: Id | None = said("The rule of cautions whose words come first.", default=None)
    findings: tuple[HeardFinding, ...] = said("What was found.", default=())
    causes: Ids = said("Causes that they hint at.", default=())
    checks: Ids = said("Checks that they ask for.", default=())
    phrases: tuple[Annotated[Spoken, SpokenPhrase], ...] = said("The phrases, one a line.", least=1)

    @staticmethod
    def whole(data: Mapping[str, Any]) -> None:
        """Refuse phrases that mean nothing."""
        if not any(data.get(key) for key in ("caution", "findings", "causes", "checks")):
            raise ValidationError("needs one of caution, findings, causes, checks")


@dataclass(frozen=True, kw_only=True)
class Words(Item):
    """Phrases as callers say them, and what they may mean; it is proposed and never taken."""

    title: Prose = said("What they are about.")
    source: Prose = said(SOURCE)
    meanings: tuple[PhraseMeaning, ...] = said("What they may mean.", least=1)


@dataclass(frozen=True)
class Thresholds:
    """The rows of kb/tables/advice.yaml: when a check is worth doing, and when a repair.

    There each has its words; a row's id is a field's name with hyphens.
    """

    confirmed: float
    measured: float
    apart: float
    leads: float
    seen_decibans: float
    unsure: float
    sure: float
    cheap: float
    least_doubt: float
    least_change: float
    least_saving: float
    near_tie: float
    idle: float
    free: float
    told_apart: float
    least_split: float
    least_repair: float
    least_settled: float
    least_pursued: float
    little: float
    little_by_phone: float
    asked_by_phone: float


@dataclass(frozen=True)
class SwitchedOff:
    """What a shop does not want, by its ids: the file switched-off.yaml."""

    causes: Ids = said("Causes.", default=())
    checks: Ids = said("Checks.", default=())
    rules: Ids = said("Rules.", default=())


# folder of the knowledge base -> what its files are
KINDS_OF_FILE: Mapping[str, type[Item]] = {
    "circuits": Circuit, "causes": Cause, "checks": Check, "rules": Rule, "tables": Table,
    "words": Words,
}  # fmt: skip
