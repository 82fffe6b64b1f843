"""The evidence for and against a cause as the page shows it: words, and a picture of each."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.answers.text import weighs
from api.cases.case import Case
from api.desk.translation import gettext
from api.drawing import bands
from api.strict_json import Json
from engine import Knowledge
from engine.knowledge.items import Check
from engine.physics.band import OPEN_OHMS
from engine.reasoning.request import NOT_KNOWN

LEAST_DB = 0.5  # lighter findings say nothing to a person


@dataclass(frozen=True)
class EvidencePiece:
    """One finding that bears on a cause: ``row`` is the answer's, the rest is for people."""

    row: Json
    name: str
    observed: str
    picture: str | None

    @property
    def says(self) -> str:
        """Return which way it speaks and how much, in words."""
        much = weighs(self.row["weight_db"])
        if self.row["direction"] == "for":
            return gettext("%(much)s evidence for it", much=much)
        return gettext("%(much)s evidence against it", much=much)


def pieces(
    entry: Json, case: Case, knowledge: Knowledge, places: Sequence[int]
) -> list[EvidencePiece]:
    """Return what bears on a cause of an answer, the weightiest first.

    ``places[i]`` is the place in the case of what the answer calls finding ``i``.
    """
    bodies = {one.place: one.body for one in case.findings}
    return [
        _piece(row, bodies[places[row["finding"]]], knowledge.checks[row["check"]])
        for row in entry["evidence"]
        if abs(row["weight_db"]) >= LEAST_DB
    ]


def _piece(row: Json, body: Json, check: Check) -> EvidencePiece:
    outcome, words = body.get("outcome"), check.outcomes.words if check.outcomes else {}
    drawn = "expected_if_cause_range" in row and "expected_if_healthy_range" in row
    from_rule = row["basis"].startswith("rule:") or outcome == NOT_KNOWN
    observed = words.get(str(outcome), row["observed"])
    picture = _picture(row, check) if drawn and not from_rule else None
    return EvidencePiece(row, check.name, observed, picture)


def _picture(row: Json, check: Check) -> str:
    """Return the two bands with the reading on them."""
    label = gettext(
        "Observed %(reading)s. This cause gives %(band)s, a healthy circuit %(good)s.",
        reading=row["observed"], band=row["expected_if_cause"], good=row["expected_if_healthy"],
    )  # fmt: skip
    unit = check.reading.unit if check.reading else ""
    return bands.svg(
        _limits(row["expected_if_cause_range"]), _limits(row["expected_if_healthy_range"]),
        row.get("value"), unit, label,
    )  # fmt: skip


def _limits(band: Json) -> tuple[float, float] | None:
    """Return a band's limits; None is open."""
    if band.get("open"):
        return None
    low, high = band["low"], band["high"]
    return 0.0 if low is None else low, OPEN_OHMS if high is None else high
