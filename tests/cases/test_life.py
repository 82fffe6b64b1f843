"""Whatever people do to cases in whatever order, the book agrees with a model of ten lines."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, rule, run_state_machine_as_test

from api.cases import Book, CaseError, ClosedCase, NoSuchFinding, OpenCase, StaleCase
from engine import RequestError
from tests.cases.conftest import AMPS, CRANKS, MACHINE, VOLTS
from tests.sweeps import WHOLE

FINDINGS = st.lists(st.sampled_from([CRANKS, VOLTS, AMPS]), min_size=1, max_size=3)
TEXTS = st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=20)
OUTCOMES = st.sampled_from(["healthy", "unknown", "pull-winding-open"])
SEEN = st.sampled_from([None, 0, -1])  # any version, the present one, the one before


@dataclass
class Model:
    """What a case should be."""

    version: int = 1
    state: str = "open"
    complaint: str = ""
    findings: list[tuple[Any, str, str | None]] = field(default_factory=list)
    outcome: str | None = None


class Life(RuleBasedStateMachine):
    """Does things to cases and compares each with its model."""

    book: Book
    numbers = Bundle("numbers")

    def __init__(self) -> None:
        super().__init__()
        self.models: dict[str, Model] = {}

    @rule(target=numbers, findings=st.lists(st.sampled_from([CRANKS, VOLTS]), max_size=2),
          complaint=TEXTS)  # fmt: skip
    def open(self, findings: list[Any], complaint: str) -> str:
        """Open a case."""
        data = {"machine": MACHINE, "findings": findings, "complaint": complaint}
        number: str = self.book.open(data, "Dana").number
        kept = [(one, "Dana", None) for one in findings]
        self.models[number] = Model(complaint=complaint, findings=kept)
        self.agree(number)
        return number

    def attempt(self, number: str, seen: int | None, work: Any, wrong: type | None) -> bool:
        """Do something; return whether it should have counted, having seen that it did or not."""
        model = self.models[number]
        expected = None if seen is None else model.version + seen
        stale = expected is not None and expected != model.version
        refusal = StaleCase if stale else wrong
        got = None
        try:
            work(expected)
        except (CaseError, RequestError) as error:
            got = type(error)
        assert got is refusal
        return refusal is None

    def agree(self, number: str) -> None:
        """Compare the case, its steps and its diagnosis with the model."""
        model, case = self.models[number], self.book.get(number)
        assert (case.version, case.state) == (model.version, model.state)
        assert case.complaint == model.complaint
        assert (case.outcome and case.outcome.cause) == model.outcome
        found = [
            (one.body, one.by, one.withdrawn and one.withdrawn.by)
            for one, (body, _, _) in zip(case.findings, model.findings, strict=True)
        ]
        assert found == model.findings
        assert [one.version for one in self.book.steps(number)] == list(range(1, model.version + 1))

    @rule(number=numbers, findings=FINDINGS, by=TEXTS, seen=SEEN, bad=st.booleans())
    def add(self, number: str, findings: list[Any], by: str, seen: int | None, bad: bool) -> None:
        """Add findings; one that is wrong keeps out all of them."""
        model, sent = self.models[number], findings + [{"check": "no-such"}] * bad
        wrong = ClosedCase if model.state == "closed" else RequestError if bad else None
        if self.attempt(number, seen, lambda e: self.book.add_findings(number, sent, by, e), wrong):
            model.findings += [(one, by, None) for one in findings]
            model.version += 1
        self.agree(number)

    @rule(number=numbers, place=st.integers(-1, 6), seen=SEEN)
    def withdraw(self, number: str, place: int, seen: int | None) -> None:
        """Withdraw a finding that may not be there or be withdrawn already."""
        model = self.models[number]
        there = 1 <= place <= len(model.findings)
        wrong = ClosedCase if model.state == "closed" else None if there else NoSuchFinding
        work = lambda e: self.book.withdraw(number, place, "Ana", "", e)  # noqa: E731
        if self.attempt(number, seen, work, wrong) and model.findings[place - 1][2] is None:
            body, by, _ = model.findings[place - 1]
            model.findings[place - 1] = (body, by, "Ana")
            model.version += 1
        self.agree(number)

    @rule(number=numbers, complaint=TEXTS, seen=SEEN)
    def change(self, number: str, complaint: str, seen: int | None) -> None:
        """Change the complaint, perhaps to what it is."""
        model = self.models[number]
        wrong = ClosedCase if model.state == "closed" else None
        work = lambda e: self.book.change(number, {"complaint": complaint}, "Bo", e)  # noqa: E731
        if self.attempt(number, seen, work, wrong) and complaint != model.complaint:
            model.complaint, model.version = complaint, model.version + 1
        self.agree(number)

    @rule(number=numbers, cause=OUTCOMES, seen=SEEN)
    def close(self, number: str, cause: str, seen: int | None) -> None:
        """Close the case."""
        model = self.models[number]
        wrong = ClosedCase if model.state == "closed" else None
        work = lambda e: self.book.close(number, {"cause": cause}, "Bo", e)  # noqa: E731
        if self.attempt(number, seen, work, wrong):
            model.state, model.outcome, model.version = "closed", cause, model.version + 1
        self.agree(number)

    @rule(number=numbers, seen=SEEN)
    def reopen(self, number: str, seen: int | None) -> None:
        """Reopen the case."""
        model = self.models[number]
        wrong = OpenCase if model.state == "open" else None
        if self.attempt(number, seen, lambda e: self.book.reopen(number, "", "Bo", e), wrong):
            model.state, model.outcome, model.version = "open", None, model.version + 1
        self.agree(number)

    @rule()
    def list_all(self) -> None:
        """The list has every case of this run, the newest first, in its state."""
        wanted = list(self.models)[::-1]
        mine = [one for one in self.book.list(limit=200).cases if one.number in self.models]
        assert [one.number for one in mine] == wanted
        states = {one.number: one.state for one in mine}
        assert states == {number: model.state for number, model in self.models.items()}


@pytest.mark.slow
def test_the_book_agrees_with_the_model(book: Book, enlarged: Callable[[int], int]) -> None:
    """No order of opening, adding, withdrawing, changing, closing and reopening surprises."""
    machine = type("BookLife", (Life,), {"book": book})
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=enlarged(6 if WHOLE else 2), stateful_step_count=25, deadline=None,
            derandomize=True,
            suppress_health_check=list(HealthCheck),
        ),
    )  # fmt: skip
