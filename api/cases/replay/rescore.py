"""One closed case: what was said of it then, what is said of it now, which of the two is better.

Pure: the same case and the same knowledge base give the same row in any process.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from api.cases.case import Case
from api.cases.diagnosis import MOST_CAUSES, diagnosed, summary
from api.service import Engine

# A cause's probability must change by this much, its rank being the same, to count as a change.
NOTICED = 0.01
NEVER_FOUND = "unknown"
_NOT_THERE = 10**6  # rank of a cause that an answer does not have

Row = dict[str, Any]


def rescore(engine: Engine, case: Case) -> Row:
    """Return one row of the report.

    ``before`` is what the case kept of its diagnosis when it was closed: the first five causes and
    the next check. ``after`` is what the engine says now; of its causes every one is looked at.
    """
    confirmed = case.outcome.cause if case.outcome else NEVER_FOUND
    found = diagnosed(engine, case)
    now = summary(found, 0)
    if found.answer is not None:
        now |= {"causes": found.answer["causes"], "sides": found.answer.get("sides", {})}
    before, after = seen(case.leading or {}, confirmed), seen(now, confirmed)
    return {
        "case": case.number,
        "confirmed": confirmed,
        "before": before,
        "after": after,
        "change": change(confirmed, before, after),
        "left_out": list(found.left_out),
    }


def seen(diagnosis: Mapping[str, Any], confirmed: str) -> dict[str, Any]:
    """Return what a diagnosis says of the confirmed cause: rank from 1, probability, and its lead.

    Where two sides were diagnosed it is that side which has the cause further up.
    """
    sides = list((diagnosis.get("sides") or {}).values()) or [diagnosis]
    best = min(sides, key=lambda side: _rank(side, confirmed))  # the first of equals
    causes = best.get("causes") or []
    rank = _rank(best, confirmed)
    found = rank < _NOT_THERE
    return {
        "knowledge_version": diagnosis.get("knowledge_version"),
        "rank": rank if found else None,
        "probability": causes[rank - 1]["probability"] if found else None,
        "leading": causes[0]["id"] if causes else None,
        "next_check": _next_check(best),
    }


def _rank(side: Mapping[str, Any], confirmed: str) -> int:
    ids = [cause["id"] for cause in side.get("causes") or []]
    return ids.index(confirmed) + 1 if confirmed in ids else _NOT_THERE


def _next_check(side: Mapping[str, Any]) -> str | None:
    """Return the id of the next check, from what a case keeps or from an engine's whole answer."""
    whole: Sequence[Mapping[str, Any]] = side.get("next_checks") or []
    first = side.get("next_check") or (whole[0] if whole else None)
    return None if first is None else str(first["check"])


def change(confirmed: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """Return 'better', 'worse', 'same', or 'not-scored' where there is nothing to compare.

    By rank, all behind the fifth counting as one; then by probability.
    """
    known = before["leading"] is not None and after["leading"] is not None
    if confirmed == NEVER_FOUND or not known:
        return "not-scored"
    first, second = _place(before), _place(after)
    if first != second:
        return "better" if second < first else "worse"
    if before["probability"] is None or after["probability"] is None:
        return "same"
    gained = after["probability"] - before["probability"]
    if abs(gained) < NOTICED:
        return "same"
    return "better" if gained > 0 else "worse"


def _place(view: Mapping[str, Any]) -> int:
    return min(view["rank"] or _NOT_THERE, MOST_CAUSES + 1)
