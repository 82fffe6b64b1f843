"""What the page of a call shows, in the order in which an agent needs it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flask import url_for

from api.answers.conclusions import in_100, is_cause
from api.answers.text import sureness, weighs
from api.cases.wording import ended
from api.desk import steps, told
from api.desk.calls import Call
from api.desk.forms import Form
from api.desk.pages import safe
from api.drawing import SHAPES, Shape, bands, svg
from api.interview import views
from api.interview.desk import probabilities
from api.interview.next_step import LIKELY, control_told
from api.interview.questions import question
from api.strict_json import Json
from api.translation import gettext
from engine.physics.band import OPEN_OHMS
from engine.reasoning.request import NOT_KNOWN

SHOWN_CAUSES = 5
LEAST_TOP = 0.1  # of the small lines: below that all of them lie low
SHOWN_EVIDENCE = 2  # causes whose evidence is on the page
LEAST_DB = 0.5  # lighter findings say nothing to a person
LEADERS = 3  # causes named while it is too early to say
NAME_WORDS = 5  # of each of them


@dataclass(frozen=True)
class CauseChance:
    """How likely a cause is, and was before the last answer and after each of the steps."""

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


def chances(call: Call) -> list[CauseChance]:
    """Return the likeliest causes that were not put right already."""
    known = probabilities(call.before) if call.before else {}
    shown = [one for one in call.answer["causes"] if one["id"] not in call.case.put_right]
    shown = shown[:SHOWN_CAUSES]
    over = [tuple(moment.get(one["id"]) for moment in call.moments) for one in shown]
    top = max((chance or 0.0 for row in over for chance in row), default=0.0)
    return [
        CauseChance(one["name"], float(one["probability"]), known.get(one["id"]), row,
                    max(top, LEAST_TOP))
        for one, row in zip(shown, over, strict=True)
    ]  # fmt: skip


def head_line(leading: Sequence[CauseChance]) -> tuple[str, str]:
    """Return who leads: a cause at half or more with its chance, or the first few with theirs."""
    first = leading[0]
    if first.probability >= LIKELY:
        moved = views.movement(first.probability, first.before)
        said = sureness(first.probability)
        return first.name, f"{said}, {moved}" if moved else said
    named = ", ".join(f"{_short(one.name)} {in_100(one.probability)}" for one in leading[:LEADERS])
    return gettext("Too early to say. Leading: %(causes)s in 100.", causes=named), ""


def _short(name: str) -> str:
    """Return how a cause's name begins, up to a comma: the list of chances has it in full."""
    begins = " ".join(name.partition(",")[0].split()[:NAME_WORDS])
    return begins if begins == name else f"{begins}…"


def evidence(call: Call, entry: Json) -> list[Mapping[str, object]]:
    """Return what bears on a cause of an answer, the weightiest first: words, and a picture.

    ``row`` is the answer's own.
    """
    shown, behind = list[Mapping[str, object]](), call.inquiry.behind
    for row in entry["evidence"]:
        if abs(row["weight_db"]) < LEAST_DB:
            continue
        check, much = call.desk.knowledge.checks[row["check"]], weighs(row["weight_db"])
        outcome = behind[row["finding"]].body.get("outcome")
        words = check.outcomes.words if check.outcomes else {}
        drawn = "expected_if_cause_range" in row and "expected_if_healthy_range" in row
        from_rule = row["basis"].startswith("rule:") or outcome == NOT_KNOWN
        unit = check.reading.unit if check.reading else ""
        shown.append({
            "row": row, "name": check.name, "observed": words.get(str(outcome), row["observed"]),
            "picture": _picture(row, unit) if drawn and not from_rule else None,
            "says": gettext("%(much)s evidence for it", much=much) if row["direction"] == "for"
            else gettext("%(much)s evidence against it", much=much),
        })  # fmt: skip
    return shown


def _picture(row: Json, unit: str) -> str:
    label = gettext(
        "Observed %(reading)s. This cause gives %(band)s, a healthy circuit %(good)s.",
        reading=row["observed"], band=row["expected_if_cause"], good=row["expected_if_healthy"],
    )  # fmt: skip
    cause, good = _limits(row["expected_if_cause_range"]), _limits(row["expected_if_healthy_range"])
    return bands.svg(cause, good, row.get("value"), unit, label)


def _limits(band: Json) -> tuple[float, float] | None:
    """Return a band's limits; None is open."""
    if band.get("open"):
        return None
    low, high = band["low"], band["high"]
    return 0.0 if low is None else low, OPEN_OHMS if high is None else high


def drawings(
    call: Call, check: str | None, shapes: Sequence[Shape] = SHAPES, cut: float | None = None
) -> Mapping[Shape, str]:
    """Return the circuit drawn with what is proven, what is suspected and where to probe now.

    ``cut`` is the height of a cut-out around the leads, in pixels; empty where none is drawn. Of
    both shapes the style sheet shows the one that fits the screen.
    """
    step = call.desk.step(call.inquiry, check) if check else None
    request = {"machine": call.case.machine, "findings": [one.body for one in call.inquiry.behind]}
    drawn = (svg(call.desk.knowledge, request, call.answer, check=step, embed=True, shape=shape,
                 cut=cut) for shape in shapes)  # fmt: skip
    return dict(zip(shapes, map(safe, drawn), strict=True))


def context(
    call: Call, check: str | None, replaces: int | None, **more: Any
) -> Mapping[str, object]:
    """Return all that the page of a call needs; ``more`` is laid over it.

    What has to be read out first stands alone: what stops the call, then the machine's warnings.
    """
    case, cards = call.case, steps.stop_cards(call)
    shown = {
        "call": call, "mark": told.mark, "out_of_turn": check, "stops": (), "first": (),
        "stopped": cards,
        "stale": None, "offer": None, "faults": {}, "found": None, "words": "", **more,
    }  # fmt: skip
    if case.is_open:
        warnings = told.of_machine(call.desk.knowledge, case.machine).values()
        shown["stops"] = [one for one in cards if one["waits"]]
        # a form that was refused comes back whole; they are told after it
        refused = shown["faults"] or shown["stale"]
        shown["first"] = () if refused else told.untold(case.number, warnings)
    alone = shown["stops"] or shown["first"]
    return shown if alone else {**_step(call, check, replaces), **shown}


def _step(call: Call, check: str | None, replaces: int | None) -> Mapping[str, object]:
    """Return what is asked now, and where the call stands."""
    case, answer, target = call.case, call.answer, call.target
    knowledge = call.desk.knowledge
    chosen = check or (target.key if target.kind == "check" else None)
    leading, control = chances(call), control_told(call.inquiry, call.desk)
    nothing = (gettext("Nothing was found yet."), "")  # what leads then is only what is frequent
    first = answer["causes"][0]
    group = [one["name"] for one in answer["causes"] if one["group"] == first["group"]]
    return {
        "urgent": steps.cautions_of(call, ()), "form": Form(),
        "ask": steps.ask(call, chosen, replaces) if chosen else None,
        "repair": steps.repair(call) if not chosen and target.kind == "repair" else None,
        "refer": answer["scope"]["because"] if target.kind == "refer" else None,
        "chances": leading, "head": head_line(leading) if call.inquiry.behind else nothing,
        "undecided": group if group[1:] else [],
        "evidence": [(one["name"], one["looks_like"], evidence(call, one))
                     for one in answer["causes"][:SHOWN_EVIDENCE] if is_cause(one["id"])],
        "news": views.news(answer, call.before, call.inquiry, knowledge),
        "last_counted": max((one.place for one in case.counted), default=0),
        "ended": ended(case.outcome.cause, knowledge) if case.outcome else "",
        # the drawing is fetched after the page, which must not wait for it
        "picture": url_for("desk.circuit", number=case.number, check=chosen, side=call.side,
                           part=1 if chosen else None),
        "others": [one for one in answer["next_checks"] if one["check"] != chosen],
        "circumstances": knowledge.rows("circumstances"), "control_told": control,
        "control_words": question("control", call.inquiry.fields).words(control) if control else "",
    }  # fmt: skip
