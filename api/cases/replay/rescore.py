"""One closed case: what was said of it then, what is said of it now, which of the two is better.

Pure: the same case and the same knowledge base give the same row in any process.
"""

from dataclasses import dataclass

from api.cases.case import Case, LeftOut
from api.cases.diagnosis import MOST_CAUSES, diagnosed, summary
from api.service import Engine
from api.strict_json import Json
from engine.answer.documents import Document

# A cause's probability must change by this much, its rank being the same, to count as a change.
NOTICED = 0.01
NEVER_FOUND = "unknown"
_NOT_THERE = 10**6  # rank of a cause that an answer does not have


@dataclass(frozen=True)
class View(Document):
    """What a diagnosis says of the confirmed cause: its rank from 1, probability, and the lead."""

    knowledge_version: str | None
    rank: int | None
    probability: float | None
    leading: str | None
    next_check: str | None


@dataclass(frozen=True)
class Row(Document):
    """One closed case, before and after."""

    case: str
    confirmed: str
    before: View
    after: View
    change: str
    left_out: tuple[LeftOut, ...]


def rescore(engine: Engine, case: Case) -> Row:
    """Return one row of the report.

    ``before`` is what the case kept of its diagnosis when it was closed: the first five causes and
    the next check. ``after`` is what the engine says now; of its causes every one is looked at.
    """
    confirmed = case.outcome.cause if case.outcome else NEVER_FOUND
    found = diagnosed(engine, case)
    now = summary(found, 0, {}).to_dict()
    if found.answer is not None:
        now = {**now, "causes": found.answer["causes"], "sides": found.answer.get("sides", {})}
    before, after = seen(case.leading or {}, confirmed), seen(now, confirmed)
    said = change(confirmed, before, after)
    return Row(case.number, confirmed, before, after, said, found.left_out)


def seen(diagnosis: Json, confirmed: str) -> View:
    """Return what a diagnosis, a kept one or a whole answer, says of the confirmed cause.

    Where two sides were diagnosed it is that side which has the cause further up.
    """
    sides = list((diagnosis.get("sides") or {}).values()) or [diagnosis]
    best = min(sides, key=lambda side: _rank(side, confirmed))  # the first of equals
    causes, rank = best.get("causes") or [], _rank(best, confirmed)
    found = rank < _NOT_THERE
    checks = [best.get("next_check"), *(best.get("next_checks") or ())]
    return View(
        diagnosis.get("knowledge_version"), rank if found else None,
        causes[rank - 1]["probability"] if found else None, causes[0]["id"] if causes else None,
        next((str(one["check"]) for one in checks if one), None),
    )  # fmt: skip


def _rank(side: Json, confirmed: str) -> int:
    ids = [cause["id"] for cause in side.get("causes") or []]
    return ids.index(confirmed) + 1 if confirmed in ids else _NOT_THERE


def change(confirmed: str, before: View, after: View) -> str:
    """Return 'better', 'worse', 'same', or 'not-scored' where there is nothing to compare.

    By rank, all behind the fifth counting as one; then by probability.
    """
    if confirmed == NEVER_FOUND or before.leading is None or after.leading is None:
        return "not-scored"
    first, second = (min(one.rank or _NOT_THERE, MOST_CAUSES + 1) for one in (before, after))
    if first != second:
        return "better" if second < first else "worse"
    if before.probability is None or after.probability is None:
        return "same"
    gained = after.probability - before.probability
    if abs(gained) < NOTICED:
        return "same"
    return "better" if gained > 0 else "worse"
