"""Calls as shops make them: how near the answers come to what a master technician would sign.

A call file holds its truth and what the master accepts; nothing is tuned on it. Every measure is
a count and a share over all calls and over each group of them.
"""

import functools
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Annotated

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
class Tallied:
    """Every call marked, and what failed."""

    marked: Sequence[Marked]
    faults: Sequence[str] = ()

    @property
    def counts(self) -> Mapping[str, Mapping[str, int]]:
        """Return, by group in order of name and for ``all`` of them, how many calls there are, and
        for how many each measure holds."""
        groups = {name: [one for one in self.marked if name in (one.group, "all")]
                  for name in (*sorted({one.group for one in self.marked}), "all")}  # fmt: skip
        return {
            name: {"calls": len(found)}
            | {measure: sum(getattr(one, measure) for one in found) for measure in MEASURES}
            for name, found in groups.items() if found
        }  # fmt: skip

    def as_dict(self) -> Json:
        """Return it as ``--json`` prints it."""
        groups = [
            {"group": name, "calls": held["calls"]}
            | {m: {"count": held[m], "share": round(held[m] / held["calls"], 4)} for m in MEASURES}
            for name, held in self.counts.items()
        ]
        calls = [asdict(one) for one in self.marked]
        return {"groups": groups, "calls": calls, "faults": list(self.faults)}

    def table(self) -> list[str]:
        """Return the counts as lines: a row a group, a column a measure."""
        wide = max(map(len, self.counts), default=0)
        rows = [f"{'group':{wide}}  calls  " + "  ".join(MEASURES.values())]
        for name, held in self.counts.items():
            cells = (
                f"{held[m]} ({held[m] / held['calls']:.0%})".rjust(len(heading))
                for m, heading in MEASURES.items()
            )
            rows.append(f"{name:{wide}}  {held['calls']:5}  {'  '.join(cells)}")
        return rows


def run(diagnoser: Diagnoser, calls: Mapping[str, CallCase]) -> Tallied:
    """Diagnose each call, by the name of its file, and mark the answers."""
    marked: list[Marked] = []
    faults: list[str] = []
    for name, call in calls.items():
        try:
            marked.append(mark(call, diagnoser.diagnose(call.request)))
        except RequestError as error:
            faults += [f"{name}: request: {fault}" for fault in error.faults]
    return Tallied(marked, faults)
