"""The answer as values: numbers as numbers, words beside them; ``to_dict`` is the contract's JSON.

A field marked ``known`` is left out of the JSON where it is None, a ``hidden`` one always; ``key``
is its name there.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from engine.answer.documents import Document
from engine.physics.band import Band
from engine.reasoning.advice import Meaning
from engine.reasoning.belief import Belief
from engine.reasoning.conclusions import Proof
from engine.reasoning.effects import KNOWN, Discount, Superseded
from engine.reasoning.pairs import Pair
from engine.rules.compile import Firing

HIDDEN = {"hidden": True}


@dataclass(frozen=True)
class Evidence:
    """A finding, or a rule on it, that speaks for or against a cause; the weight in decibans.

    ``value`` is the reading as it is weighed, in the unit of the ranges; the chances are those of
    the outcome that was found.
    """

    finding: int
    check: str
    direction: str
    weight_db: float
    observed: str
    expected_if_cause: str
    expected_if_healthy: str
    because: str
    basis: str
    verdict: str | None = field(default=None, metadata=KNOWN)
    counted_share: float | None = field(default=None, metadata=KNOWN)
    expected_if_cause_range: Band | None = field(default=None, metadata=KNOWN)
    expected_if_healthy_range: Band | None = field(default=None, metadata=KNOWN)
    value: float | None = field(default=None, metadata=KNOWN)
    chance_if_cause: float | None = field(default=None, metadata=KNOWN)
    chance_if_healthy: float | None = field(default=None, metadata=KNOWN)


@dataclass(frozen=True)
class LookBehind:
    """What may have brought a cause about."""

    cause: str
    because: str


@dataclass(frozen=True)
class CauseEntry:
    """A cause with its probability, evidence, remedy and what to mind."""

    id: str
    name: str
    probability: float
    group: int
    section: str
    minutes: float
    evidence: tuple[Evidence, ...]
    looks_like: str
    remedy: str
    proof_of_repair: str
    look_behind: tuple[LookBehind, ...]
    before_replacing: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Note:
    """What a rule has to say, in its three parts."""

    rule: str
    found: str
    points: str
    next: str


@dataclass(frozen=True)
class FitEntry:
    """How well one cause explains the findings, and what else might."""

    verdict: str
    disagreeing: tuple[int, ...]
    two_faults_probability: float | None = field(default=None, metadata=KNOWN)
    pairs: tuple[Pair, ...] | None = field(default=None, metadata=KNOWN)
    repeat: tuple[int, ...] | None = field(default=None, metadata=KNOWN)


@dataclass(frozen=True)
class Expectation:
    """What a check gives under a cause."""

    cause: str
    reads: str


@dataclass(frozen=True, kw_only=True)
class NextCheck:
    """A check to do next: how, what it saves, and what each result would mean.

    ``provoke`` is what its words ask to be done meanwhile to bring the fault on; the finding says
    it in ``while``.
    """

    check: str
    name: str
    kind: str
    minutes: float
    say: str
    how: str
    why: str
    cautions: tuple[str, ...]
    saves_minutes: float = 0.0
    saves_with_wrong_repairs: float = 0.0
    reason: str = ""
    expect: tuple[Expectation, ...]
    meanings: tuple[Meaning, ...] = ()
    provoke: str | None = field(default=None, metadata={"key": "while", **KNOWN})


@dataclass(frozen=True)
class Advice:
    """Whether to check, repair, hand over or refer.

    ``get_figure`` is the field of the machine without which what leads is not condemned.
    """

    do: str
    expected_minutes_if_repair_now: float
    repair_order: tuple[str, ...]
    because: str | None
    get_figure: str | None = field(default=None, metadata=KNOWN)


@dataclass(frozen=True)
class Caution:
    """A caution of the diagnosis as a whole."""

    id: str
    text: str


@dataclass(frozen=True)
class Scope:
    """Whether the knowledge covers the case."""

    covered: bool
    because: str | None


@dataclass(frozen=True)
class Answer(Document):
    """A diagnosis. On a machine with two sides the first side's, with those of both in ``sides``.

    ``further_checks`` are the next ones if everything were at hand, where ``on_hand`` was given;
    ``belief`` is what a further question about the same case needs and is not in the JSON.
    """

    knowledge_version: str
    causes: tuple[CauseEntry, ...]
    set_aside: tuple[Discount, ...]
    weakened: tuple[Discount, ...]
    superseded: tuple[Superseded, ...]
    proofs: tuple[Proof, ...]
    notes: tuple[Note, ...]
    fit: FitEntry
    next_checks: tuple[NextCheck, ...]
    advice: Advice
    cautions: tuple[Caution, ...]
    scope: Scope
    trace: tuple[Firing, ...]
    side: str | None = field(default=None, metadata=KNOWN)
    sides: Mapping[str, "Answer"] | None = field(default=None, metadata=KNOWN)
    further_checks: tuple[NextCheck, ...] | None = field(default=None, metadata=KNOWN)
    belief: Belief | None = field(default=None, repr=False, metadata=HIDDEN)
