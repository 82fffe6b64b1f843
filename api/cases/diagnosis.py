"""Asking the engine about a case: faults in terms of what the caller sent, and a short answer.

A case lives longer than a knowledge base. A finding that the present one no longer takes is left
out and named, never lost, and never stands in the way of what is added to the case.
"""

import re
from dataclasses import dataclass
from typing import Any, Protocol

from api.cases.case import Case, CaseFinding
from engine import Fault, RequestError

_PLACE = re.compile(r"findings\[(\d+)\]")
MOST_CAUSES = 5


class Engine(Protocol):
    """What answers a request, as ``engine.Diagnoser`` does."""

    def diagnose(self, request: dict[str, Any]) -> dict[str, Any]:
        """Answer one request; raise RequestError with every fault."""


@dataclass(frozen=True)
class Sent:
    """What of the case the caller has just sent; only that can be the caller's fault."""

    first: int | None = None  # place of the first finding that was sent
    head: bool = False  # machine, on_hand, excluded or limit were sent


@dataclass(frozen=True)
class CaseDiagnosis:
    """The engine's answer, the places of the findings that it saw, and what it was not shown."""

    answer: dict[str, Any] | None
    places: tuple[int, ...]
    left_out: tuple[dict[str, Any], ...] = ()


def diagnose_case(engine: Engine, case: Case, sent: Sent) -> CaseDiagnosis:
    """Diagnose the case. Raises RequestError with paths into what was sent, if that is at fault."""
    shown = case.counted
    try:
        answer = engine.diagnose(case.request())
    except RequestError as error:
        return _without_old_faults(engine, case, sent, error)
    return CaseDiagnosis(answer, tuple(one.place for one in shown))


def _without_old_faults(
    engine: Engine, case: Case, sent: Sent, error: RequestError
) -> CaseDiagnosis:
    mine, old, stuck = _sorted(case.counted, error, sent)
    if mine:
        raise RequestError(mine)
    if stuck or not old:
        messages = [{"place": None, "because": str(fault)} for fault in stuck]
        return CaseDiagnosis(None, (), tuple(messages))
    found = diagnose_case(engine, case.without(set(old)), sent)
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


def summary(diagnosis: CaseDiagnosis) -> dict[str, Any]:
    """Return what a case shows of its diagnosis: the leading causes and the next check."""
    left_out, answer = list(diagnosis.left_out), diagnosis.answer
    if answer is None:
        return {"knowledge_version": None, "causes": [], "next_check": None, "fit": None,
                "advice": None, "covered": None, "left_out": left_out}  # fmt: skip
    short = {"knowledge_version": answer["knowledge_version"], **_short(answer)}
    if "sides" in answer:
        short["side"] = answer["side"]
        short["sides"] = {side: _short(one) for side, one in answer["sides"].items()}
    return {**short, "left_out": left_out}


def diagnosed(engine: Engine, case: Case) -> dict[str, Any]:
    """Return the engine's whole answer on the case, and where its findings stand in the case."""
    found = diagnose_case(engine, case, Sent())
    more = {"places": [*found.places], "left_out": [*found.left_out]}
    about = {"number": case.shown_number, "version": case.version}
    return {**about, **(found.answer or {"causes": [], "next_checks": []}), **more}


def _short(answer: dict[str, Any]) -> dict[str, Any]:
    first = answer["next_checks"][0] if answer["next_checks"] else None
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
