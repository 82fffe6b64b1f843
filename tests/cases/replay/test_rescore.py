"""A row says what was said at closing and what the present base says, and which is better."""

from dataclasses import replace
from typing import Any

import pytest

from api.cases import Book
from api.cases.lists import closed_cases
from api.cases.replay.rescore import Row, View, change, rescore, seen
from api.cases.replay.writing import Totals
from engine import Diagnoser
from tests.cases.replay.conftest import HISTORY, MACHINE


def test_before_is_what_the_service_said(book: Book, engine: Diagnoser) -> None:
    """Under the same base nothing changes, and what was kept is what the engine says to that day's
    request, found here without the case book."""
    cases = list(closed_cases(book.database))
    assert len(cases) == len(HISTORY)
    for case, (findings, cause) in zip(cases, HISTORY, strict=True):
        row = rescore(engine, case)
        answer = engine.diagnose({"machine": MACHINE, "findings": findings, "limit": 0})
        ids = [one["id"] for one in answer["causes"]]
        rank = ids.index(cause) + 1 if cause in ids else None
        assert row.confirmed == cause
        assert row.after.rank == rank
        assert row.before.leading == row.after.leading == ids[0]
        assert row.before.rank == (rank if rank and rank <= 5 else None)
        assert row.after.next_check == answer["next_checks"][0]["check"]
        assert row.before.next_check == row.after.next_check
        assert row.change == ("not-scored" if cause == "unknown" else "same")


def _view(rank: int | None, probability: float | None) -> View:
    return View("2026.11", rank, probability, leading="x", next_check=None)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ((2, 0.3), (1, 0.5), "better"),
        ((1, 0.5), (2, 0.5), "worse"),
        ((1, 0.5), (1, 0.6), "better"),
        ((1, 0.6), (1, 0.5), "worse"),
        ((1, 0.5), (1, 0.505), "same"),
        ((None, None), (5, 0.01), "better"),
        ((5, 0.01), (9, 0.001), "worse"),
        ((None, None), (9, 0.001), "same"),  # a case keeps five: more is not known of that day
        ((None, None), (None, None), "same"),
    ],
)
def test_rank_decides_then_probability(
    before: tuple[Any, Any], after: tuple[Any, Any], said: str
) -> None:
    """A cause that moves up is better found; at the same place its probability counts."""
    assert change("x", _view(*before), _view(*after)) == said


def test_what_was_never_found_is_not_scored() -> None:
    """Without a confirmed cause, or without a diagnosis that day, there is nothing to compare."""
    assert change("unknown", _view(1, 0.5), _view(1, 0.9)) == "not-scored"
    assert change("x", replace(_view(None, None), leading=None), _view(1, 0.9)) == "not-scored"


def test_of_two_sides_the_one_that_has_the_cause_counts() -> None:
    """On a machine with two solenoids the side on which the confirmed cause leads is looked at."""
    left = {"causes": [{"id": "a", "probability": 0.9}, {"id": "b", "probability": 0.1}]}
    right = {
        "causes": [{"id": "b", "probability": 0.7}],
        "next_check": {"check": "fuse-look"},
    }
    found = seen({**left, "sides": {"left": left, "right": right}}, "b")
    assert (found.rank, found.probability, found.next_check) == (1, 0.7, "fuse-look")


def test_totals_count_what_they_say() -> None:
    """Three cases by hand: log2 of 1/2 and 1/4 before, of 1/4 and 1/2 after; one not scored."""
    totals = Totals()
    rows = [
        (_view(1, 0.5), _view(2, 0.25), "worse"),
        (_view(4, 0.25), _view(1, 0.5), "better"),
        (_view(None, None), _view(1, 0.5), "better"),
        (_view(None, None), _view(None, None), "not-scored"),
    ]
    for before, after, said in rows:
        totals.add(Row("1", "x", before, after, said, ()))
    found = totals.document()
    assert (found["cases"], found["scored"], found["better"], found["worse"]) == (4, 3, 2, 1)
    assert found["before"] == {"first": 1, "first_three": 1, "log_score": -1.5}
    assert found["after"] == {"first": 2, "first_three": 3, "log_score": -1.5}
    assert found["with_log_score"] == 2
