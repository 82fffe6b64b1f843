"""The life of a case: every step is kept, and nothing that was told is lost."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from api.cases import Book, ClosedCase, NoSuchFinding, OpenCase, StaleCase
from engine import Diagnoser, Knowledge, RequestError
from tests.cases.conftest import AMPS, CRANKS, MACHINE, VOLTS, Clock

pytestmark = pytest.mark.both_databases


def paths(error: pytest.ExceptionInfo[RequestError]) -> list[str]:
    """Return where the faults stand."""
    return [fault.path for fault in error.value.faults]


def test_the_whole_life(book: Book) -> None:
    """Opened, added to, withdrawn from, closed and reopened: each step counts one version."""
    case = book.open({"machine": MACHINE, "fleet_number": "L-07", "complaint": "Dies."}, "Dana")
    number = case.number
    assert (case.version, case.state, case.findings) == (1, "open", ())
    case = book.add_findings(number, [CRANKS, VOLTS], "Ana")
    assert [one.place for one in case.findings] == [1, 2]
    case = book.withdraw(number, 2, "Ana", "wrong pin")
    assert case.findings[1].withdrawn.because == "wrong pin"
    case = book.change(number, {"handed_to": "Bo"}, "Dana", 3)
    assert case.handed_to == "Bo"
    case = book.close(number, {"cause": "pull-winding-open", "minutes": 40}, "Bo", 4)
    assert (case.state, case.outcome.cause) == ("closed", "pull-winding-open")
    case = book.reopen(number, "came back", "Dana")
    assert (case.state, case.outcome, case.version) == ("open", None, 6)
    kinds = [one.kind for one in book.steps(number)]
    assert kinds == ["opened", "finding-added", "finding-withdrawn", "changed", "closed",
                     "reopened"]  # fmt: skip
    assert book.steps(number)[5].changed["outcome"]["minutes"] == 40
    assert book.get(number) == case


def test_steps_say_what_was_done(book: Book, number: str) -> None:
    """Each step is a sentence with the person, the check's name and the reading."""
    book.add_findings(number, [VOLTS], "Ana")
    book.withdraw(number, 2, "Ana", "wrong pin.")
    said = [one.words for one in book.steps(number)]
    assert said[0] == "Dana opened the case with 1 finding."
    assert said[1].startswith("Ana added finding 2 (")
    assert said[1].endswith(": 11.4 V).")
    assert said[2].endswith("11.4 V), because: wrong pin.")
    assert [one.version for one in book.steps(number, since=2)] == [3]
    assert book.steps(number, since=99) == []


def test_each_step_keeps_the_diagnosis_of_its_time(
    book: Book, number: str, engine: Diagnoser
) -> None:
    """The leading causes of a step are those of the findings that counted then."""
    book.add_findings(number, [VOLTS, AMPS], "Ana")
    book.withdraw(number, 3, "Ana")
    for step, findings in zip(book.steps(number), [[CRANKS], [CRANKS, VOLTS, AMPS],
                                                   [CRANKS, VOLTS]], strict=True):  # fmt: skip
        answer = engine.diagnose({"machine": MACHINE, "findings": findings})
        told = [(one["id"], one["probability"]) for one in step.diagnosis["causes"]]
        assert told == [(one["id"], one["probability"]) for one in answer["causes"]]
        assert step.diagnosis["knowledge_version"] == answer["knowledge_version"]


def test_diagnosis_is_the_engines_own(book: Book, number: str, engine: Diagnoser) -> None:
    """The case's diagnosis is the engine's answer to what counts; ``places`` leads back."""
    book.add_findings(number, [VOLTS, AMPS], "Ana")
    book.withdraw(number, 2, "Ana")
    found = book.diagnosis(number)
    answer = engine.diagnose({"machine": MACHINE, "findings": [CRANKS, AMPS]})
    assert {key: found[key] for key in answer} == answer
    assert found["places"] == [1, 3]
    assert found["version"] == 3


def test_a_withdrawn_finding_stays(book: Book, number: str) -> None:
    """It keeps its place, its body and its author; the next finding gets a new place."""
    before = book.get(number).findings[0]
    book.withdraw(number, 1, "Ana", "misheard")
    case = book.add_findings(number, [VOLTS], "Ana")
    gone, added = case.findings
    assert replace(gone, withdrawn=None) == before
    assert gone.withdrawn is not None
    assert gone.withdrawn.by == "Ana"
    assert added.place == 2


def test_a_finding_is_replaced_and_restored_in_one_step_each(book: Book, number: str) -> None:
    """Of a finding and its replacement exactly one counts at any version; the steps say which."""
    case = book.replace_finding(number, 1, VOLTS, "Ana")
    assert ([one.place for one in case.counted], case.version) == ([2], 2)
    case = book.restore(number, 1, "Bo")
    assert ([one.place for one in case.counted], case.version) == ([1], 3)
    assert case.findings[0].withdrawn is None
    assert book.get(number) == case
    assert book.restore(number, 1, "Bo") == case, "the second time finds it done"
    said = [one.words for one in book.steps(number, since=1)]
    assert said[0].endswith("for finding 1.")
    assert said[1].startswith("Bo restored finding 1 (")
    assert said[1].endswith("for finding 2.")


def test_a_bad_replacement_leaves_the_finding(book: Book, number: str) -> None:
    """What the engine refuses is told where it was sent, and the old finding still counts."""
    with pytest.raises(RequestError) as told:
        book.replace_finding(number, 1, {**VOLTS, "value": 4000}, "Ana")
    assert paths(told) == ["findings[0].value"]
    assert [one.place for one in book.get(number).counted] == [1]


def test_no_such_finding(book: Book, number: str) -> None:
    """A place that the case does not have is told."""
    with pytest.raises(NoSuchFinding, match="has 1 findings"):
        book.withdraw(number, 2, "Ana")


def test_a_closed_case_takes_nothing(book: Book, number: str) -> None:
    """Findings, withdrawals, changes and a second closing are refused until it is reopened."""
    book.close(number, {"cause": "healthy"}, "Dana", 1)
    tries = [
        lambda: book.add_findings(number, [VOLTS], "Ana"),
        lambda: book.withdraw(number, 1, "Ana"),
        lambda: book.change(number, {"complaint": "x"}, "Ana", 2),
        lambda: book.close(number, {"cause": "healthy"}, "Ana", 2),
    ]
    for one in tries:
        with pytest.raises(ClosedCase, match="Reopen it"):
            one()
    assert book.get(number).version == 2
    book.reopen(number, "", "Ana")
    with pytest.raises(OpenCase):
        book.reopen(number, "", "Ana")


def test_stale_write_shows_what_the_others_did(book: Book, number: str) -> None:
    """The refusal carries the case as it is and the steps since the version that was seen."""
    book.add_findings(number, [VOLTS], "Ana")
    book.change(number, {"complaint": "Dies."}, "Bo", 2)
    with pytest.raises(StaleCase, match="Bo changed the complaint") as caught:
        book.close(number, {"cause": "healthy"}, "Dana", 1)
    assert caught.value.current.version == 3
    assert [one.by for one in caught.value.changes] == ["Ana", "Bo"]
    assert caught.value.current == book.get(number)


def test_faults_stand_in_what_was_sent(book: Book, number: str) -> None:
    """A bad finding is named by its place in the list that was sent, and nothing is kept."""
    with pytest.raises(RequestError) as caught:
        book.add_findings(number, [VOLTS, VOLTS | {"unit": "W"}, {"check": "pull-pin-volts"}], "A")
    assert paths(caught) == ["findings[1].unit", "findings[2].check"]
    assert book.get(number).version == 1


def test_every_fault_of_an_opening_is_told(book: Book) -> None:
    """Texts and fields are looked at together; the engine's gate speaks when those are right."""
    with pytest.raises(RequestError) as caught:
        book.open({"fleet": "x", "complaint": 3, "machine": 4, "findings": "no"}, "Dana")
    assert paths(caught) == ["complaint", "findings", "fleet", "machine"]
    with pytest.raises(RequestError) as caught:
        book.open({"machine": MACHINE | {"coil": "x"}, "findings": [{"check": "no"}]}, "Dana")
    assert paths(caught) == ["findings[0].check", "machine.coil"]


@pytest.mark.parametrize("data", [None, [], "x", 3])
def test_a_case_is_an_object(book: Book, data: Any) -> None:
    """Anything else is refused as a whole."""
    with pytest.raises(RequestError, match="a case is an object"):
        book.open(data, "Dana")


def test_unknown_control_and_coil_are_taken(book: Book) -> None:
    """A caller may not know them; they can be told later."""
    case = book.open(
        {"machine": {"duty": "brake-release", "control": "unknown", "coil": "unknown"}}, "Dana"
    )
    told = {"machine": {"control": "ignition-timed", "coil": "case-ground"}}
    case = book.change(case.number, told, "Dana", 1)
    assert case.machine["control"] == "ignition-timed"


def test_changes_merge_into_the_machine(book: Book, number: str) -> None:
    """Fields of the machine that are not named stay; null takes one out."""
    case = book.change(number, {"machine": {"fuse_amps": 30, "system_volts": 24}}, "Ana", 1)
    assert case.machine == MACHINE | {"fuse_amps": 30, "system_volts": 24}
    case = book.change(number, {"machine": {"fuse_amps": None}, "complaint": None}, "Ana", 2)
    assert case.machine == MACHINE | {"system_volts": 24}
    changed = book.steps(number, since=2)[0].changed["fields"]
    assert changed["machine"]["from"]["fuse_amps"] == 30


def test_a_machine_that_cannot_have_a_finding_is_refused(book: Book, number: str) -> None:
    """The message names the finding that stands against the change."""
    with pytest.raises(RequestError, match="finding 1: 'engine-response' cannot be done") as caught:
        book.change(
            number, {"machine": {"duty": "brake-release", "control": "ignition-timed"}}, "Ana", 1
        )
    assert paths(caught) == ["machine"]


@pytest.mark.parametrize(
    ("outcome", "path"),
    [
        ({}, "cause"), ({"cause": "pull-winding-opn"}, "cause"), ({"cause": ["healthy"]}, "cause"),
        ({"cause": "healthy", "minutes": -1}, "minutes"),
        ({"cause": "healthy", "minutes": True}, "minutes"),
        ({"cause": "healthy", "replaced": {}}, "replaced"),
        ({"cause": "healthy", "replaced": ["x", 3]}, "replaced[1]"),
        ({"cause": "healthy", "note": 0}, "note"), ({"cause": "healthy", "by": 1}, "by"),
        ({"cause": "interlock-open-in-motion"}, "cause"),
    ],
)  # fmt: skip
def test_a_bad_outcome_is_refused(
    book: Book, number: str, outcome: dict[str, Any], path: str
) -> None:
    """Each fault stands where it is; the case stays open."""
    with pytest.raises(RequestError) as caught:
        book.close(number, outcome, "Dana", 1)
    assert path in paths(caught)
    assert book.get(number).state == "open"


def test_a_cause_of_another_circuit_is_refused(book: Book, number: str) -> None:
    """A cause that this machine cannot have is not confirmed on it."""
    causes = book.knowledge.causes
    other = next(
        name for name, one in causes.items()
        if all(entry.duty == ("brake-release",) for entry in one.applies)
        and one.applies
    )  # fmt: skip
    with pytest.raises(RequestError, match="cannot be on this machine"):
        book.close(number, {"cause": other}, "Dana", 1)


def test_a_clock_that_steps_back_breaks_no_order(book: Book, clock: Clock, number: str) -> None:
    """Versions order the steps; a case is never changed before it was last changed."""
    before = book.get(number).changed_at
    clock.at -= timedelta(days=400)
    case = book.add_findings(number, [VOLTS], "Ana")
    assert case.changed_at == before
    case = book.add_findings(number, [AMPS], "Ana")
    steps = book.steps(number)
    assert [one.version for one in steps] == [1, 2, 3]
    assert [one.at for one in steps] == sorted(one.at for one in steps)
    new = book.open({"machine": MACHINE}, "Dana")
    assert [one.number for one in book.list().cases] == [new.number, number]


def test_two_sides_are_shown(book: Book) -> None:
    """A machine with two brake solenoids shows the diagnosis of each."""
    machine = {"duty": "brake-release", "control": "ignition-timed", "coil": "unknown"}
    check = next(
        name for name, one in book.knowledge.checks.items()
        if one.reading is not None and one.reading.unit == "ohm"
    )  # fmt: skip
    findings = [
        {"check": check, "outcome": "open", "side": "left"},
        {"check": check, "outcome": "not-known", "side": "right"},
    ]
    leading = book.open({"machine": machine, "findings": findings}, "Dana").leading
    assert leading["side"] == "left"
    assert set(leading["sides"]) == {"left", "right"}
    assert leading["sides"]["left"]["causes"] == leading["causes"]


@pytest.mark.parametrize(
    ("on_hand", "reading"), [(["ask", "look", "try"], False), (["meter"], True)]
)
def test_a_screen_can_ask_for_the_next_check(
    book: Book, knowledge: Knowledge, on_hand: list[str], reading: bool
) -> None:
    """The next check carries its cautions, its answers with their words or the unit of its reading,
    and each of the answers is taken as it stands."""
    opening = {"machine": MACHINE, "findings": [CRANKS], "on_hand": on_hand}
    case = book.open(opening, "Dana")
    check, whole = (case.leading or {})["next_check"], book.diagnosis(case.number)
    assert (case.leading or {})["cautions"] == whole["cautions"]
    assert check["cautions"] == whole["next_checks"][0]["cautions"]
    known = knowledge.checks[check["check"]].reading
    assert (known is not None) == reading
    assert check["unit"] == (known.unit if known else None)
    assert bool(check["outcomes"]) == (known is None)
    assert all(one["words"] for one in check["outcomes"])
    given = [{"outcome": one["outcome"]} for one in check["outcomes"]]
    for answer in given or [{"value": 1.0, "unit": check["unit"]}, {"outcome": "not-known"}]:
        finding = {"check": check["check"], **answer}
        case = book.open({**opening, "findings": [CRANKS, finding]}, "Dana")
        assert (case.leading or {})["next_check"] != check
