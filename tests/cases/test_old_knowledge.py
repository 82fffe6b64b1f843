"""A case outlives the knowledge base: what a new one does not take is left out and named."""

from typing import Any

import pytest

from api.cases import Book
from engine import Diagnoser, Fault, RequestError
from tests.cases.conftest import AMPS, CRANKS, VOLTS


class Changed:
    """An engine whose knowledge base dropped some checks, or the machine's circuit."""

    def __init__(
        self, engine: Diagnoser, dropped: tuple[str, ...] = (), machine: bool = False
    ) -> None:
        self.engine, self.dropped, self.machine = engine, dropped, machine

    def diagnose(self, request: dict[str, Any]) -> dict[str, Any]:
        """Answer as the engine does, but refuse what was dropped."""
        faults = [
            Fault(f"findings[{place}].check", "unknown check")
            for place, one in enumerate(request["findings"])
            if one["check"] in self.dropped
        ]
        if self.machine:
            faults.append(Fault("machine.control", "unknown control"))
        if faults:
            raise RequestError(faults)
        return self.engine.diagnose(request)


@pytest.fixture
def old(book: Book, number: str, engine: Diagnoser) -> str:
    """A case whose second finding the engine no longer takes."""
    book.add_findings(number, [VOLTS, AMPS], "Ana")
    book.engine = Changed(engine, ("pull-pin-voltage",))
    return number


def test_an_old_finding_stands_in_nobodys_way(book: Book, old: str, engine: Diagnoser) -> None:
    """A new finding is taken; the diagnosis rests on the others and names the one left out."""
    case = book.add_findings(old, [CRANKS | {"note": "again"}], "Bo")
    assert (case.leading or {})["left_out"] == [{"place": 2, "because": "unknown check"}]
    assert case.findings[1].withdrawn is None
    found = book.diagnosis(old)
    assert found["places"] == [1, 3, 4]
    findings = [CRANKS, AMPS, CRANKS | {"note": "again"}]
    answer = engine.diagnose({"machine": case.machine, "findings": findings})
    assert found["causes"] == answer["causes"]


def test_a_new_finding_is_still_held_to_the_knowledge(book: Book, old: str) -> None:
    """Only what was sent is the sender's fault, and its path is right beside old faults."""
    with pytest.raises(RequestError) as caught:
        book.add_findings(old, [AMPS, VOLTS], "Bo")
    assert [fault.path for fault in caught.value.faults] == ["findings[1].check"]


def test_a_machine_that_is_not_taken_any_more(book: Book, number: str, engine: Diagnoser) -> None:
    """The case can be read, added to, exported and closed; it has no diagnosis, and says why."""
    book.engine = Changed(engine, machine=True)
    case = book.add_findings(number, [VOLTS], "Ana")
    assert (case.leading or {})["causes"] == []
    assert "unknown control" in (case.leading or {})["left_out"][0]["because"]
    found = book.diagnosis(number)
    assert (found["causes"], found["places"]) == ([], [])
    assert book.work_order(number).to_dict()["causes"] == []
    assert book.close(number, {"cause": "healthy"}, "Dana", None).state == "closed"
    assert [one.words for one in book.steps(number)]
