"""Calls as shops make them: how near the answers come to what a master technician would sign.

A call file holds its truth and what the master accepts; nothing is tuned on it. Every measure is
a count and a share over all calls and over each group of them.
"""

import functools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Annotated, Any

from marshmallow import fields, validate

from api.strict_json import Json
from engine import Diagnoser, RequestError
from engine.knowledge.items import Id, Ids, Prose
from engine.knowledge.shapes import Number, said

FIRST = 3  # how far down a list the asker is taken to look
SIGNED = 0.5  # a leader above it is said, not merely listed
CONFIDENT = 0.6
RequestData = Annotated[Json, fields.Dict]
Chance = Annotated[float, functools.partial(Number, validate=validate.Range(0, 1))]


@dataclass(frozen=True)
class CallCase:
    """One call; the fields are told in the README beside the call files."""

    id: Id = said("Its name.")
    group: Id = said("The kind of call.")
    story: Prose = said("What happened.")
    request: RequestData = said("What the engine is asked.")
    guess: str = said("What a novice would say.")
    truth: Ids = said("What it was.", least=1)
    accept: Ids = said("What a master would sign.", least=1)
    next: Ids = said("Checks or courses that a master would take next.", least=1)
    never: Ids = said("What a master would never say.")
    confidence: Chance = said("How sure a master would be.")
    because: Prose = said("Why.")


@dataclass(frozen=True)
class Marked:
    """What one answer is worth: its leader, its probability, and which measures hold."""

    call: str
    group: str
    leader: str
    probability: float
    leader_accepted: bool
    first_three: bool
    next_as_master: bool
    never_said: bool
    confidently_wrong: bool


# measure -> its heading
MEASURES: Mapping[str, str] = {
    "leader_accepted": "leader accepted",
    "first_three": "in first three",
    "next_as_master": "next as master",
    "never_said": "never said",
    "confidently_wrong": "confidently wrong",
}


def mark(call: CallCase, answer: Json) -> Marked:
    """Hold an answer against what the master signs.

    A course in ``next`` is compared with what the answer advises, a check with its first three
    proposals. *Never said* counts a leader above one half, the first repair or the course that is
    advised, and every check proposed.
    """
    leader, proposed = answer["causes"][0], [one["check"] for one in answer["next_checks"]]
    advice = answer["advice"]
    steps = {advice["do"], *proposed[:FIRST]}
    said = {advice["do"], *proposed}
    said |= {leader["id"]} if leader["probability"] > SIGNED else set()
    said |= set(advice["repair_order"][:1]) if advice["do"] == "repair" else set()
    named = {one["id"] for one in answer["causes"][:FIRST]}
    accepted = leader["id"] in call.accept
    return Marked(
        call=call.id,
        group=call.group,
        leader=leader["id"],
        probability=leader["probability"],
        leader_accepted=accepted,
        first_three=bool(named & {*call.accept, *call.truth}),
        next_as_master=bool(steps & set(call.next)),
        never_said=bool(said & set(call.never)),
        confidently_wrong=not accepted and leader["probability"] > CONFIDENT,
    )


@dataclass(frozen=True)
class Tally:
    """How many calls of a group, or of all, and for how many of them each measure holds."""

    group: str
    calls: int
    counts: Mapping[str, int]

    def share(self, measure: str) -> float:
        """Return the share of the calls for which a measure holds."""
        return self.counts[measure] / self.calls


@dataclass(frozen=True)
class Tallied:
    """Every call marked, the tallies by group with that of all calls last, and what failed."""

    marked: tuple[Marked, ...]
    faults: tuple[str, ...] = field(default=())

    @property
    def tallies(self) -> tuple[Tally, ...]:
        """Return a tally a group in order of name, and one of all calls."""
        names = sorted({one.group for one in self.marked})
        by_group = [_tally(n, [one for one in self.marked if one.group == n]) for n in names]
        return (*by_group, *([_tally("all", self.marked)] if self.marked else []))

    def as_dict(self) -> dict[str, Any]:
        """Return it as ``--json`` prints it."""
        groups = [
            {"group": one.group, "calls": one.calls}
            | {m: {"count": n, "share": round(one.share(m), 4)} for m, n in one.counts.items()}
            for one in self.tallies
        ]
        return {
            "groups": groups,
            "calls": [asdict(one) for one in self.marked],
            "faults": list(self.faults),
        }

    def table(self) -> list[str]:
        """Return the tallies as lines: a row a group, a column a measure."""
        wide = max([len(one.group) for one in self.tallies], default=0)
        head = f"{'group':{wide}}  calls  " + "  ".join(MEASURES.values())
        rows = [f"{one.group:{wide}}  {one.calls:5}  {_cells(one)}" for one in self.tallies]
        return [head, *rows]


def _cells(tally: Tally) -> str:
    told = [f"{tally.counts[key]} ({tally.share(key):.0%})" for key in MEASURES]
    pairs = zip(told, MEASURES.values(), strict=True)
    return "  ".join(f"{text:>{len(heading)}}" for text, heading in pairs)


def _tally(group: str, marked: Sequence[Marked]) -> Tally:
    counts = {key: sum(getattr(one, key) for one in marked) for key in MEASURES}
    return Tally(group, len(marked), counts)


def run(diagnoser: Diagnoser, calls: Iterable[tuple[str, CallCase]]) -> Tallied:
    """Diagnose each call, given with the name of its file, and mark the answers."""
    marked: list[Marked] = []
    faults: list[str] = []
    for name, call in calls:
        try:
            answer = diagnoser.diagnose(call.request)
        except RequestError as error:
            faults += [f"{name}: request: {fault}" for fault in error.faults]
        else:
            marked.append(mark(call, answer))
    return Tallied(tuple(marked), tuple(faults))
