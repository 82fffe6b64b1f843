"""What the knowledge base is made of, as frozen dataclasses: one class a kind of file."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

Distribution = Mapping[str, float]
Range = tuple[float, float]

DUTIES = ("fuel-shutoff", "brake-release")
CONTROLS = ("ignition-timed", "controller-on-crank", "controller-on-request")
COILS = ("case-ground", "body-ground")
ACTUATIONS = ("external-lever", "in-block", "top-plunge")
SYSTEM_VOLTS = (12, 24)
MOMENTS = ("key-off", "key-on", "crank", "running", "release-request")
PHASES = ("off", "on-command", "after-command", "cranking", "running")
SECTIONS = ("supply", "control", "wiring", "solenoid", "mechanism", "outside")
KINDS = ("ask", "look", "try", "lamp", "meter", "clamp")
FAMILIES = ("scope", "traps", "context", "proofs", "chains", "cautions")
QUALIFY_FAMILIES = ("scope", "traps", "context")
VERDICTS = ("good", "low", "high", "open", "cannot-say")
HAZARDS = (
    "cranks", "energises", "releases-brake", "opens-fuel", "live", "ohms", "jumper", "plunger",
    "hot", "hand-energise", "under-machine", "interlock", "battery", "moving", "pressurised",
)  # fmt: skip
SETUPS = (
    "none", "plug", "relay", "battery", "fuse", "controller", "engine-side", "under-cover",
    "bench", "key",
)  # fmt: skip
EVENTS = (
    "relay-operates", "pull-is-strong", "pulls-in", "stays-in", "stays-in-cranking",
    "stays-in-running", "comes-out", "pull-stays-on", "fuse-opens", "fuse-is-open",
    "hand-held-stays", "plunger-free", "plunger-moves", "plunger-bottoms", "spring-returns",
    "linkage-follows", "lock-holds", "fuel-arrives", "engine-turns", "machine-drives",
    "cranks-at-speed", "bench-pulls", "bench-holds", "works-now", "works-with-jumper",
    "works-with-relay-swapped", "lamp-pull-bright", "lamp-pull-lit", "lamp-hold-bright",
    "lamp-hold-lit",
)  # fmt: skip
NOWHERE = "nowhere"
UNITS = ("V", "A", "ohm", "s")


@dataclass(frozen=True)
class Item:
    """Anything with an id and a file; ``raw`` is the file's content in file order."""

    id: str
    raw: Mapping[str, Any] = field(repr=False, compare=False)
    file: str = field(compare=False)

    def as_dict(self) -> dict[str, Any]:
        """Return the item as plain JSON-able data in the order of its file."""
        return dict(self.raw)


@dataclass(frozen=True)
class Need:
    """A switch closes only while ``node`` is at ``min_volts`` (12 V basis) above ``across``."""

    node: str
    min_volts: float
    across: str = "chassis"
    phases: tuple[str, ...] = PHASES


@dataclass(frozen=True)
class Part:
    """One two-terminal part of a circuit; ohms and volts are those of a 12 V machine."""

    id: str
    kind: Literal["wire", "load", "source", "contact"]
    between: tuple[str, str]
    source: str
    ohms: float | None = None
    tolerance: float = 0.0
    unstated_tolerance: float | None = None
    volts: float = 0.0
    volts_tolerance: float = 0.0
    switched: bool = False
    absent: bool = False
    at_plug: bool = False
    copper: bool = False
    blade_fuse: bool = False
    trips_at_amps: float | None = None
    needs: tuple[Need, ...] = ()
    operated_by: tuple[str, str] | None = None
    operate_volts: float = 0.0
    release_volts: float = 0.0


def ohms_factor(system_volts: int) -> float:
    """Return what 12 V ohms are multiplied by: 24 V has four times the ohms (common practice)."""
    return (system_volts / 12.0) ** 2


@dataclass(frozen=True)
class Phase:
    """A state of the machine: its moment and the switched parts that are made in it."""

    id: str
    moment: str
    made: tuple[str, ...]


@dataclass(frozen=True)
class Setting:
    """A number that is not an ohm: its healthy value and its spread from machine to machine."""

    id: str
    healthy: float
    source: str
    log_sigma: float = 0.0


@dataclass(frozen=True)
class Coil:
    """What a coil style adds to the circuit, what its ground point is called, where leads go.

    ``probe`` maps what a person says a winding was measured to onto a node, or onto NOWHERE.
    """

    name: str
    ground_point: str
    probe: Mapping[str, str]
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Plunger:
    """Force margins of the plunger, as shares of the rated currents."""

    pull_in_share: float
    pull_in_log_sigma: float
    hold_share: float
    hold_log_sigma: float
    seated_gap_mm: float
    pull_seated_strength: float
    travel_seconds: float
    travel_log_sigma: float
    source: str


@dataclass(frozen=True)
class Circuit(Item):
    """A duty x control circuit, its base already laid in."""

    name: str
    duty: str
    control: str
    command_words: str
    listen_words: str
    hold_words: str
    nodes: tuple[str, ...]
    parts: Mapping[str, Part]
    phases: Mapping[str, Phase]
    brings: Mapping[str, tuple[str, ...]]
    coils: Mapping[str, Coil]
    fuse_amps: Mapping[int, float]
    settings: Mapping[str, Setting]
    plunger: Plunger


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
    phases: tuple[str, ...] = PHASES

    @property
    def is_range(self) -> bool:
        """Return whether the change spreads over severities."""
        return self.start != self.to


@dataclass(frozen=True)
class State:
    """One way in which a cause shows itself in the circuit."""

    id: str
    weight: float
    changes: tuple[Change, ...]
    system_volts: tuple[int, ...] = SYSTEM_VOLTS


@dataclass(frozen=True)
class Cause(Item):
    """Something that can be wrong."""

    name: str
    section: str
    applies: tuple[Mapping[str, Sequence[Any]], ...]
    share: float
    minutes: float
    states: tuple[State, ...]
    looks_like: str
    remedy: str
    proof_of_repair: str
    confirmed_by: tuple[str, ...]
    hazards: tuple[str, ...]


@dataclass(frozen=True)
class Reading:
    """How a meter check is predicted: what is read, where, when, with what connected."""

    quantity: Literal["voltage", "current", "resistance", "seconds"]
    unit: str
    low: float
    high: float
    phase: str
    plug_fitted: bool
    load: str
    from_node: Mapping[str, str]
    to_node: Mapping[str, str]
    part: str
    repeatability: float
    instrument: str


@dataclass(frozen=True)
class Branch:
    """A node of an outcome tree: a test, and what holds when it is true and when it is not."""

    test: str | Mapping[str, Sequence[Any]]
    then: "Branch | Distribution"
    otherwise: "Branch | Distribution"


@dataclass(frozen=True)
class Outcomes:
    """How an outcome check is predicted: rows by cause, else a tree over events."""

    names: tuple[str, ...]
    given: Mapping[str, Branch | Distribution]
    tree: Branch | Distribution
    slip: float
    words: Mapping[str, str]


@dataclass(frozen=True)
class Check(Item):
    """Something that can be asked, looked at, tried or measured."""

    name: str
    kind: str
    applies: tuple[Mapping[str, Sequence[Any]], ...]
    shared_between_sides: bool
    minutes: float
    setup: str
    reading: Reading | None
    outcomes: Outcomes | None
    say: str
    how: str
    why: str
    hazards: tuple[str, ...]
    commanded: bool


@dataclass(frozen=True)
class Because:
    """The three parts of every message: what was found, why it points there, what to do next."""

    found: str
    points: str
    next: str


@dataclass(frozen=True)
class Rule(Item):
    """If-then knowledge: conditions and actions are checked data, compiled by engine.rules."""

    family: str
    title: str
    when: tuple[Mapping[str, Any], ...]
    then: tuple[Mapping[str, Any], ...]
    because: Because
    source: str

    @property
    def stage(self) -> Literal["qualify", "prove", "conclude"]:
        """Return the stage in which the rule runs."""
        if self.family in QUALIFY_FAMILIES:
            return "qualify"
        return "prove" if self.family == "proofs" else "conclude"


@dataclass(frozen=True)
class Table(Item):
    """A published table: rows as they stand, with their source."""

    title: str
    source: str
    rows: tuple[Mapping[str, Any], ...]
