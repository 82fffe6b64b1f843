"""What the page of a call shows, in the order in which an agent needs it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from flask import url_for

from api.answers.conclusions import is_cause
from api.answers.text import sureness
from api.cases.wording import ended
from api.desk import evidence, steps
from api.desk.calls import Call
from api.desk.forms import Form
from api.desk.pages import number_in_100, safe
from api.desk.told import mark
from api.desk.translation import gettext
from api.drawing import SHAPES, Shape, svg
from api.interview import views
from api.interview.desk import probabilities
from api.interview.next_step import LIKELY
from api.interview.questions import question
from engine.knowledge import items

SHOWN_CAUSES = 5
LEAST_TOP = 0.1  # of the small lines: below that all of them lie low
SHOWN_EVIDENCE = 2  # causes whose evidence is on the page
LEADERS = 3  # causes named while it is too early to say
NAME_WORDS = 5  # of each of them


@dataclass(frozen=True)
class CauseChance:
    """How likely a cause is, and was before the last answer."""

    name: str
    probability: float
    before: float | None
    over: tuple[float | None, ...] = ()
    top: float = 1.0  # the chance at the upper edge of the lines, the same for all causes shown

    @property
    def lines(self) -> list[str]:
        """Return the small lines of its chances over the call, as points of a box 100 by 20.

        There is a gap where the chance was not kept; one moment alone is no line.
        """
        step = 100 / max(1, len(self.over) - 1)
        parts: list[list[str]] = [[]]
        for place, chance in enumerate(self.over):
            if chance is None:
                parts.append([])
            else:
                parts[-1].append(f"{place * step:.1f},{19 - 18 * chance / self.top:.1f}")
        return [" ".join(one) for one in parts if len(one) > 1]


@dataclass(frozen=True)
class HeadLine:
    """Where the call stands, in words; ``chance`` only where one cause leads at half or more."""

    words: str
    chance: str = ""


def chances(call: Call) -> list[CauseChance]:
    """Return the likeliest causes that were not put right already."""
    known = probabilities(call.before) if call.before else {}
    shown = [
        CauseChance(
            one["name"],
            float(one["probability"]),
            known.get(one["id"]),
            tuple(call.chances_of(one["id"])),
        )
        for one in call.answer["causes"]
        if one["id"] not in call.case.put_right
    ][:SHOWN_CAUSES]
    top = max((chance or 0.0 for one in shown for chance in one.over), default=0.0)
    return [replace(one, top=max(top, LEAST_TOP)) for one in shown]


def head_line(leading: Sequence[CauseChance]) -> HeadLine:
    """Return who leads: a cause at half or more, or the first few with their chances."""
    first = leading[0]
    if first.probability >= LIKELY:
        moved = views.movement(first.probability, first.before)
        said = sureness(first.probability)
        return HeadLine(first.name, f"{said}, {moved}" if moved else said)
    named = ", ".join(
        f"{_short(one.name)} {number_in_100(one.probability)}" for one in leading[:LEADERS]
    )
    return HeadLine(gettext("Too early to say. Leading: %(causes)s in 100.", causes=named))


def _short(name: str) -> str:
    """Return how a cause's name begins, up to a comma: the list of chances has it in full."""
    begins = " ".join(name.partition(",")[0].split()[:NAME_WORDS])
    return begins if begins == name else f"{begins}…"


def undecided(call: Call) -> list[str]:
    """Return the causes that the answers do not tell from the leading one yet."""
    causes = call.answer["causes"]
    names = [str(one["name"]) for one in causes if one["group"] == causes[0]["group"]]
    return names if len(names) > 1 else []


def evidence_shown(call: Call) -> list[tuple[str, str, list[evidence.EvidencePiece]]]:
    """Return the leading causes, how they look, and the evidence on them."""
    return [
        (one["name"], one["looks_like"],
         evidence.pieces(one, call.case, call.desk.knowledge, call.places))
        for one in call.answer["causes"][:SHOWN_EVIDENCE]
        if is_cause(one["id"])
    ]  # fmt: skip


def drawings(
    call: Call, check: str | None, shapes: Sequence[Shape] = SHAPES, cut: float | None = None
) -> Mapping[Shape, str]:
    """Return the circuit drawn with what is proven, what is suspected and where to probe now.

    ``cut`` is the height of a cut-out around the leads, in pixels; empty where none is drawn. Of
    both shapes the style sheet shows the one that fits the screen.
    """
    step = call.desk.step(call.inquiry, check) if check else None
    found = [one.body for one in call.inquiry.behind]
    request = {"machine": call.case.machine, "findings": found}
    return {
        shape: safe(svg(
            call.desk.knowledge, request, call.answer, check=step, embed=True, shape=shape,
            cut=cut,
        ))
        for shape in shapes
    }  # fmt: skip


def context(
    call: Call, check: str | None, replaces: int | None, **more: Any
) -> Mapping[str, object]:
    """Return all that the page of a call needs; ``more`` is laid over it."""
    cards = steps.stop_cards(call)
    stops = cards.waiting if call.case.is_open else []
    chosen = check or (call.target.key if call.target.kind == "check" else None)
    asked = steps.ask(call, chosen, replaces) if chosen and not stops else None
    repair = steps.repair(call) if not chosen and call.target.kind == "repair" else None
    leading, told = chances(call), call.control_told
    shown: Mapping[str, object] = {
        "call": call, "stops": stops, "ask": asked, "repair": repair,
        "refer": call.answer["scope"]["because"] if call.target.kind == "refer" else None,
        "chances": leading, "head": head_line(leading), "undecided": undecided(call),
        "evidence": evidence_shown(call), "news": views.news(
            call.answer, call.before, call.inquiry, call.desk.knowledge
        ),
        "last_counted": max((one.place for one in call.case.counted), default=0),
        "ended": ended(call.case.outcome.cause, call.desk.knowledge) if call.case.outcome else "",
        "answers": call.order.findings[::-1], "doubts": call.order.doubts,
        "notes": call.order.handing_back, "general": call.general, "mark": mark,
        "urgent": steps.cautions_of(call, ()), "stopped": cards.acknowledged,
        # the drawing is fetched after the page, which must not wait for it
        "picture": url_for("desk.circuit", number=call.case.number, check=chosen, side=call.side,
                           part=1 if chosen else None),
        "out_of_turn": check is not None, "moments": items.MOMENTS, "form": Form(), "faults": {},
        "others": [one for one in call.answer["next_checks"] if one["check"] != chosen],
        "circumstances": call.desk.knowledge.rows("circumstances"), "stale": None, "offer": None,
        "found": None, "words": "",
        "control_words": question("control", call.inquiry.fields).words(told) if told else "",
        "other_side": {"left": "right", "right": "left"}.get(call.side or ""),
    }  # fmt: skip
    return {**shown, **more}
