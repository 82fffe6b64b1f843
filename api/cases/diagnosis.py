"""Asking the engine about a case: faults in terms of what the caller sent, and a short answer.

A case lives longer than a knowledge base. A finding that the present one no longer takes is left
out and named, never lost, and never stands in the way of what is added to the case.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from api.cases.case import (
    Case,
    CaseDiagnosis,
    CaseFinding,
    Leading,
    LeadingCause,
    LeadingCheck,
    LeftOut,
    OfferedAnswer,
    OneSide,
    cut,
)
from api.service import Engine
from api.strict_json import Json
from engine import Fault, Knowledge, RequestError
from engine.answer.answer import Caution
from engine.knowledge import items
from engine.reasoning.request import ALL, LEADING, LEADING_CAUSES

_PLACE = re.compile(r"findings\[(\d+)\]")
MOST_CAUSES = 5
_CAUSE = ("id", "name", "probability", "group")
_CHECK = ("check", "name", "kind", "minutes", "say", "cautions")
Checks = Mapping[str, items.Check]
LIMITS = range(1001)  # as the engine's request has them


@dataclass(frozen=True)
class Sent:
    """What of the case the caller has just sent; only that can be the caller's fault."""

    first: int | None = None  # place of the first finding that was sent
    head: bool = False  # machine, on_hand, excluded or limit were sent


NOTHING_SENT = Sent()


def diagnose_case(engine: Engine, case: Case, sent: Sent = NOTHING_SENT) -> Case:
    """Return the case with its diagnosis, and with what it shows of it.

    Raises RequestError with paths into what was sent, if that is at fault.
    """
    found = diagnosed(engine, case, sent)
    knowledge = getattr(engine, "knowledge", None)  # an engine need not show what it knows
    checks = knowledge.checks if isinstance(knowledge, Knowledge) else {}
    return replace(case, diagnosis=found, leading=summary(found, case.limit, checks).to_dict())


def diagnosed(engine: Engine, case: Case, sent: Sent = NOTHING_SENT) -> CaseDiagnosis:
    """Return the diagnosis of a case. Raises RequestError as ``diagnose_case`` does."""
    try:
        answer = engine.diagnose(_request(case))
    except RequestError as error:
        mine, old, stuck = _sorted(case.counted, error, sent)
        if mine:
            raise RequestError(mine) from None
        if stuck or not old:
            return CaseDiagnosis(None, (), tuple(LeftOut(None, str(fault)) for fault in stuck))
        found = diagnosed(engine, case.without(set(old)), sent)
        left_out = [LeftOut(place, why) for place, why in sorted(old.items())]
        return replace(found, left_out=(*left_out, *found.left_out))
    return CaseDiagnosis(answer, tuple(one.place for one in case.counted))


def _request(case: Case) -> dict[str, Any]:
    """Return the request for every cause. A limit that is none is left for the engine to refuse.

    The evidence on all but the leading causes, most of an answer, waits for a case that shows it:
    one of more causes than usual, or a closed one, whose sheet is about the cause that was found.
    """
    request, limit = case.request(), case.settings.get("limit", LEADING_CAUSES)
    if type(limit) is not int or limit not in LIMITS:
        return request
    few = case.is_open and 0 < limit <= LEADING_CAUSES
    return request | {"limit": 0, "evidence": LEADING if few else ALL}


def _sorted(
    shown: tuple[CaseFinding, ...], error: RequestError, sent: Sent
) -> tuple[list[Fault], dict[int, str], list[Fault]]:
    """Return the faults of what was sent, those of older findings by place, and the rest."""
    mine: list[Fault] = []
    old: dict[int, str] = {}
    stuck: list[Fault] = []
    for fault in error.faults:
        found = _PLACE.match(fault.path)
        if found is None:
            own = sent.first is not None if fault.path == "findings" else sent.head
            (mine if own else stuck).append(fault)
            continue
        place = shown[int(found[1])].place
        rest = fault.path[found.end() :]
        if sent.first is not None and place >= sent.first:
            mine.append(Fault(f"findings[{place - sent.first}]{rest}", fault.message))
        elif sent.head:
            mine.append(Fault("machine", f"finding {place}: {fault.message}"))
        else:
            old.setdefault(place, fault.message)
    return mine, old, stuck


def summary(diagnosis: CaseDiagnosis, limit: int, checks: Checks) -> Leading:
    """Return what a case shows of its diagnosis: the leading causes and the next check.

    ``checks`` are those whose answers can be told.
    """
    if diagnosis.answer is None:
        return Leading(left_out=diagnosis.left_out)
    answer = cut(diagnosis.answer, limit)
    sides = answer.get("sides")
    return Leading(
        **vars(_short(answer, checks)), knowledge_version=answer["knowledge_version"],
        left_out=diagnosis.left_out, side=answer.get("side") if sides else None,
        sides=sides and {side: _short(one, checks) for side, one in sides.items()},
    )  # fmt: skip


def _short(answer: Json, checks: Checks) -> OneSide:
    causes, advice = answer["causes"][:MOST_CAUSES], answer["advice"]["do"]
    check = None if advice == "repair" else next(iter(answer["next_checks"]), None)
    return OneSide(
        tuple(LeadingCause(*(one[key] for key in _CAUSE)) for one in causes),
        leading_check(check, checks) if check else None,
        answer["fit"]["verdict"], advice, answer["scope"]["covered"],
        tuple(Caution(**one) for one in answer["cautions"]),
    )  # fmt: skip


def leading_check(check: Json, checks: Checks) -> LeadingCheck:
    """Return a check of an answer with what it may answer, its words or its unit."""
    known = checks.get(check["check"])
    outcomes = known.outcomes if known else None
    words = {one: outcomes.words.get(one, one) for one in outcomes.names} if outcomes else {}
    return LeadingCheck(
        **{key: check[key] for key in _CHECK},
        unit=known.reading.unit if known and known.reading else None,
        outcomes=tuple(OfferedAnswer(*one) for one in words.items()),
    )
