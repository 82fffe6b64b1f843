"""The evidence for and against a cause as the page shows it: words, and a picture of each."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.answers.text import strength
from api.cases.case import Case, Json
from api.desk import bands
from engine import Knowledge
from engine.knowledge.items import Check
from engine.physics.band import OPEN_OHMS
from engine.reasoning.request import NOT_KNOWN

LEAST_DB = 0.5  # lighter findings say nothing to a person
_SAYS = {"for": "speaks for it", "against": "speaks against it"}


@dataclass(frozen=True)
class Piece:
    """One finding that bears on a cause."""

    name: str
    direction: str
    strength: str
    observed: str
    if_cause: str
    if_healthy: str
    because: str
    picture: str | None
    chances: tuple[float, float] | None

    @property
    def says(self) -> str:
        """Return which way it speaks, in words."""
        return _SAYS[self.direction]


def pieces(entry: Json, case: Case, knowledge: Knowledge, places: Sequence[int]) -> list[Piece]:
    """Return what bears on a cause of an answer, the weightiest first.

    ``places[i]`` is the place in the case of what the answer calls finding ``i``.
    """
    bodies = {one.place: one.body for one in case.findings}
    return [
        _piece(row, bodies[places[row["finding"]]], knowledge)
        for row in entry["evidence"]
        if abs(row["weight_db"]) >= LEAST_DB
    ]


def _piece(row: Json, body: Json, knowledge: Knowledge) -> Piece:
    check = knowledge.checks[row["check"]]
    outcome, words = body.get("outcome"), check.outcomes.words if check.outcomes else {}
    drawn = row["basis"].startswith("rule:") or outcome == NOT_KNOWN or not _has_picture(row)
    chances = None
    if "chance_if_cause" in row:
        chances = row["chance_if_cause"], row["chance_if_healthy"]
    picture = None if drawn else _picture(row, check)
    return Piece(
        check.name, row["direction"], strength(row["weight_db"]),
        words.get(str(outcome), row["observed"]), row["expected_if_cause"],
        row["expected_if_healthy"], row["because"], picture, chances,
    )  # fmt: skip


def _has_picture(row: Json) -> bool:
    return "expected_if_cause_range" in row and "expected_if_healthy_range" in row


def _picture(row: Json, check: Check) -> str:
    """Return the two bands with the reading on them."""
    label = (
        f"Observed {row['observed']}. This cause gives {row['expected_if_cause']}, a healthy "
        f"circuit {row['expected_if_healthy']}."
    )
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
