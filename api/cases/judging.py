"""Asking the engine about a case: faults in terms of what the caller sent, and a short answer.

A case lives longer than a knowledge base. A finding that the present one no longer takes is left
out and named, never lost, and never stands in the way of what is added to the case.
"""

import re
from dataclasses import dataclass
from typing import Any, Protocol

from api.cases.draft import Draft, Kept
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
class Judged:
    """The engine's answer, the places of the findings that it saw, and what it was not shown."""

    answer: dict[str, Any] | None
    places: tuple[int, ...]
    left_out: tuple[dict[str, Any], ...] = ()


def judge(engine: Engine, draft: Draft, sent: Sent) -> Judged:
    """Diagnose the case. Raises RequestError with paths into what was sent, if that is at fault."""
    shown = draft.counted
    try:
        answer = engine.diagnose(draft.request())
    except RequestError as error:
        return _without_old_faults(engine, draft, sent, error)
    return Judged(answer, tuple(one.place for one in shown))


def _without_old_faults(engine: Engine, draft: Draft, sent: Sent, error: RequestError) -> Judged:
    mine, old, stuck = _sorted(draft.counted, error, sent)
    if mine:
        raise RequestError(mine)
    if stuck or not old:
        messages = [{"place": None, "because": str(fault)} for fault in stuck]
        return Judged(None, (), tuple(messages))
    judged = judge(engine, draft.without(set(old)), sent)
    left_out = [{"place": place, "because": why} for place, why in sorted(old.items())]
    return Judged(judged.answer, judged.places, (*left_out, *judged.left_out))


def _sorted(
    shown: tuple[Kept, ...], error: RequestError, sent: Sent
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


def summary(judged: Judged) -> dict[str, Any]:
    """Return what a case shows of its diagnosis: the leading causes and the next check."""
    left_out = list(judged.left_out)
    if judged.answer is None:
        return {"knowledge_version": None, "causes": [], "next_check": None, "fit": None,
                "advice": None, "covered": None, "left_out": left_out}  # fmt: skip
    found = {"knowledge_version": judged.answer["knowledge_version"], **_short(judged.answer)}
    if "sides" in judged.answer:
        found["side"] = judged.answer["side"]
        found["sides"] = {side: _short(one) for side, one in judged.answer["sides"].items()}
    return {**found, "left_out": left_out}


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
