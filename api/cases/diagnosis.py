"""Asking the engine about a case: faults in terms of what the caller sent, and a short answer.

A case lives longer than a knowledge base. A finding that the present one no longer takes is left
out and named, never lost, and never stands in the way of what is added to the case.
"""

import re
from dataclasses import dataclass, replace
from typing import Any

from api.cases.case import Case, CaseDiagnosis, CaseFinding, Json, cut
from api.service import Engine
from engine import Fault, RequestError

_PLACE = re.compile(r"findings\[(\d+)\]")
MOST_CAUSES = 5
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
    return replace(case, diagnosis=found, leading=summary(found, case.limit))


def diagnosed(engine: Engine, case: Case, sent: Sent = NOTHING_SENT) -> CaseDiagnosis:
    """Return the diagnosis of a case. Raises RequestError as ``diagnose_case`` does."""
    shown = case.counted
    try:
        answer = engine.diagnose(_request(case))
    except RequestError as error:
        return _without_old_faults(engine, case, sent, error)
    return CaseDiagnosis(answer, tuple(one.place for one in shown))


def _request(case: Case) -> dict[str, Any]:
    """Return the request for every cause. A limit that is none is left for the engine to refuse."""
    request, limit = case.request(), case.settings.get("limit", 0)
    whole = type(limit) is int and limit in LIMITS
    return request | {"limit": 0} if whole else request


def _without_old_faults(
    engine: Engine, case: Case, sent: Sent, error: RequestError
) -> CaseDiagnosis:
    mine, old, stuck = _sorted(case.counted, error, sent)
    if mine:
        raise RequestError(mine)
    if stuck or not old:
        messages = [{"place": None, "because": str(fault)} for fault in stuck]
        return CaseDiagnosis(None, (), tuple(messages))
    found = diagnosed(engine, case.without(set(old)), sent)
    left_out = [{"place": place, "because": why} for place, why in sorted(old.items())]
    return CaseDiagnosis(found.answer, found.places, (*left_out, *found.left_out))


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


def summary(diagnosis: CaseDiagnosis, limit: int) -> dict[str, Any]:
    """Return what a case shows of its diagnosis: the leading causes and the next check."""
    left_out = list(diagnosis.left_out)
    if diagnosis.answer is None:
        return {"knowledge_version": None, "causes": [], "next_check": None, "fit": None,
                "advice": None, "covered": None, "left_out": left_out}  # fmt: skip
    answer = cut(diagnosis.answer, limit)
    short = {"knowledge_version": answer["knowledge_version"], **_short(answer)}
    if "sides" in answer:
        short["side"] = answer["side"]
        short["sides"] = {side: _short(one) for side, one in answer["sides"].items()}
    return {**short, "left_out": left_out}


def _short(answer: Json) -> dict[str, Any]:
    first = None if answer["advice"]["do"] == "repair" else next(iter(answer["next_checks"]), None)
    keys = ("check", "name", "kind", "minutes", "say")
    return {
        "causes": [
            {key: cause[key] for key in ("id", "name", "probability", "group")}
            for cause in answer["causes"][:MOST_CAUSES]
        ],
        "next_check": first and {key: first[key] for key in keys},
        "fit": answer["fit"]["verdict"],
        "advice": answer["advice"]["do"],
        "covered": answer["scope"]["covered"],
    }
