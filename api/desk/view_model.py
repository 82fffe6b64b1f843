"""What the page of a call shows, in the order in which an agent needs it."""

from dataclasses import dataclass
from typing import Any

from flask import url_for

from api.answers.conclusions import is_cause
from api.answers.text import sureness
from api.cases.case import Json
from api.desk import evidence, steps
from api.desk.calls import Call
from api.desk.forms import Form
from api.desk.pages import safe
from api.drawing import SHAPES, Shape, svg
from api.interview import views
from api.interview.desk import probabilities
from engine.knowledge import items

SHOWN_CAUSES = 5
SHOWN_EVIDENCE = 2  # causes whose evidence is on the page


@dataclass(frozen=True)
class Lead:
    """The leading cause or, while some cannot be told apart, the leading group."""

    words: str
    names: tuple[str, ...]
    probability: float
    before: float | None

    @property
    def sure(self) -> str:
        """Return how sure it is, in words and as a number out of a hundred."""
        return sureness(self.probability)


def lead_of(call: Call) -> Lead:
    """Return what leads."""
    causes = call.answer["causes"]
    known = probabilities(call.before) if call.before else {}
    gone = call.case.excluded  # put right without a cure: no longer what it may be
    group = [one for one in causes if one["group"] == causes[0]["group"] and one["id"] not in gone]
    group = group or causes[:1]
    total = sum(float(one["probability"]) for one in group)
    names = tuple(str(one["name"]) for one in group)
    before = sum(known.get(one["id"], 0.0) for one in group) if known else None
    if len(group) == 1:
        return Lead(names[0], names, total, before)
    return Lead(f"One of {len(group)} causes that the answers do not tell apart yet", names, total,
                before)  # fmt: skip


@dataclass(frozen=True)
class Belief:
    """How likely a cause is, and was before the last answer."""

    cause: str
    name: str
    probability: float
    before: float | None


def beliefs(call: Call) -> list[Belief]:
    """Return the likeliest causes."""
    known = probabilities(call.before) if call.before else {}
    return [
        Belief(one["id"], one["name"], float(one["probability"]), known.get(one["id"]))
        for one in call.answer["causes"][:SHOWN_CAUSES]
    ]


def evidence_shown(call: Call) -> list[Json]:
    """Return the evidence on the leading causes."""
    return [
        {"name": one["name"], "looks_like": one["looks_like"],
         "pieces": evidence.pieces(one, call.case, call.desk.knowledge, call.places)}
        for one in call.answer["causes"][:SHOWN_EVIDENCE]
        if is_cause(one["id"])
    ]  # fmt: skip


def drawing(call: Call, check: str | None, shape: Shape) -> str:
    """Return the circuit drawn with what is proven, what is suspected and where to probe now."""
    step = call.desk.step(call.inquiry, check) if check else None
    return svg(
        call.desk.knowledge, call.inquiry.request_behind(), call.answer, check=step, embed=True,
        shape=shape,
    )  # fmt: skip


def context(call: Call, check: str | None, replaces: int | None, **more: Any) -> Json:
    """Return all that the page of a call needs."""
    target = call.target
    chosen = check or (target.key if target.kind == "check" else None)
    asked = steps.ask(call, chosen, replaces) if chosen else None
    repair = steps.repair(call) if asked is None and target.kind == "repair" else None
    shown: dict[str, Any] = {
        "call": call, "lead": lead_of(call), "ask": asked, "repair": repair,
        "refer": call.answer["scope"]["because"] if target.kind == "refer" else None,
        "beliefs": beliefs(call), "evidence": evidence_shown(call),
        "answers": call.order.findings[::-1],
        "news": news(call), "doubts": call.order.doubts,
        "notes": call.order.handing_back,
        "general": [one["text"] for one in call.answer["cautions"]],
        "urgent": steps.Cautions(tuple(steps.urgent(call))),
        "picture": _picture(call, chosen),
        "out_of_turn": check is not None,
        "others": _others(call, chosen), "moments": items.MOMENTS, "form": Form(), "faults": {},
        "circumstances": call.desk.knowledge.rows("circumstances"), "stale": None, "offer": None,
        "found": None, "words": "", "control_words": _control_words(call),
        "other_side": {"left": "right", "right": "left"}.get(call.side or ""),
    }  # fmt: skip
    return shown | more


def drawings(call: Call, check: str | None) -> Json:
    """Return the circuit in both shapes; the style sheet shows the one that fits the screen."""
    return {shape: safe(drawing(call, check, shape)) for shape in SHAPES}


def _picture(call: Call, check: str | None) -> str:
    """Return where the drawing is: it is fetched after the page, which must not wait for it."""
    return url_for("desk.circuit", number=call.case.number, check=check, side=call.side)


def news(call: Call) -> list[str]:
    """Return what the last answer brought about: set aside, noted, proved."""
    blocks = views.news(call.answer, call.before, call.inquiry, call.desk)
    found: list[str] = []
    for line in (line for block in blocks for line in block.lines):
        if line.indent and found:
            found[-1] += f" {line.text}"
        else:
            found.append(line.text)
    return found


def _others(call: Call, chosen: str | None) -> list[Json]:
    """Return the other checks that are worth their minutes."""
    return [one for one in call.answer["next_checks"] if one["check"] != chosen]


def _control_words(call: Call) -> str:
    """Return in words the control type that the answers tell, if they do."""
    from api.interview.questions import question

    told = call.control_told
    return question("control", call.inquiry.fields).words(told) if told else ""
