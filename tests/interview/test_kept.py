"""Interviews in the case book: what is typed is in it at once, comes back, is taken back."""

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from api.cases import Book
from api.cases.case import Case
from api.cli.ask_book import BY, Keeper, open_book
from api.interview import Interview, InterviewState, Turn
from api.interview.contents import bare, contents_of, entries_of
from tests.sweeps import swept

Hold = Callable[..., Turn]
Piped = Callable[..., "subprocess.CompletedProcess[str]"]
LOADER = ("1", "4012 compact track loader", "1", "2", "2", "1", "1", "7")


@pytest.fixture
def book(talk: Interview, tmp_path: Path) -> Iterator[Book]:
    """An empty book."""
    found = open_book(tmp_path / "book" / "cases.sqlite3", talk.desk)
    yield found
    found.database.close()


@pytest.fixture
def keeper(book: Book) -> Keeper:
    """What keeps one interview in the book."""
    return Keeper(book)


def kept(keeper: Keeper, turn: Turn) -> Case:
    """Keep a state and return the case as the book has it then."""
    keeper.keep(turn.state)
    assert keeper.trouble is None
    assert keeper.case is not None
    assert keeper.book is not None
    return keeper.book.get(keeper.case.number)


def told(state: InterviewState) -> list[object]:
    """Return what a case holds of a state, whatever the places of its answers."""
    case = contents_of(state.entries)
    assert case is not None
    return [
        case.machine, case.machine_type, case.on_hand, case.skill, case.excluded,
        [bare(one) for one in case.done], [one.body for one in case.findings], case.outcome,
    ]  # fmt: skip


def test_a_case_begins_with_the_duty(keeper: Keeper, hold: Hold) -> None:
    """Before the duty is known there is no case; from then on each answer is a step of one."""
    keeper.keep(hold("1", "4012", start=()).state)
    assert keeper.case is None
    case = kept(keeper, hold("1", "4012", "1", start=()))
    assert (case.machine_type, case.machine["duty"], case.opened_by) == ("4012", "fuel-shutoff", BY)
    again = kept(keeper, hold("1", "4012", "1", "2", start=()))
    assert again.number == case.number
    assert again.machine["control"] == "controller-on-crank"


@pytest.mark.parametrize(
    "lines",
    swept(
        [
            ("2", "add pull-current 0.1 A, note odd \u03a9", "add pull-ohms 0.33", "d"),
            ("2", "hands ask, look"),
            ("2", "skip", "repair relay-coil-open", "2"),
            ("2", "repair ground-open", "1"),
        ],
        2,
    ),
)
def test_a_case_is_gone_on_with_where_it_stood(
    talk: Interview, keeper: Keeper, hold: Hold, lines: tuple[str, ...]
) -> None:
    """Answers, skipped checks, what is at hand and what came of a repair come back as they were."""
    turn = hold(*lines)
    state = InterviewState(tuple(entries_of(kept(keeper, turn))))
    assert told(state) == told(turn.state)
    assert talk.prompt(state) == talk.prompt(turn.state)


def test_gone_on_with_what_is_urgent_comes_first(
    talk: Interview, keeper: Keeper, hold: Hold
) -> None:
    """A case in which the coil smoked, taken up by somebody else, begins with that caution."""
    case = kept(keeper, hold("2", "add coil-temperature smoking"))
    first = talk.open(InterviewState(tuple(entries_of(case)))).blocks[0]
    assert first.kind == "caution"
    assert "The solenoid smokes" in " ".join(line.text for line in first.lines)


def test_a_repair_stays_between_the_findings(keeper: Keeper, hold: Hold) -> None:
    """What was put right keeps its place in the book, whatever is found or taken back after it."""
    turn = hold("2", "add relay-click heard", "repair relay-coil-open", "2")
    assert kept(keeper, turn).done == [{"cause": "relay-coil-open", "after": 1}]
    turn = hold("2", "add pull-current 0.1 A", after=turn)
    case = kept(keeper, turn)
    assert case.done == [{"cause": "relay-coil-open", "after": 1}]
    order = [one.key for one in entries_of(case) if one.kind in ("finding", "not-cured")]
    assert order == ["engine-response", "relay-click", "relay-coil-open", "engine-response",
                     "pull-current"]  # fmt: skip
    assert kept(keeper, hold("back", "back", "back", after=turn)).done == []


def test_each_side_comes_back(keeper: Keeper, hold: Hold) -> None:
    """With two solenoids the findings keep their side, and the one worked on last is looked at."""
    start = ("1", "19 site dumper", "2", "2", "1", "1", "2", "1", "7")
    turn = hold("1", "add fuse-look blown", "side right", "5", start=start)
    state = InterviewState(tuple(entries_of(kept(keeper, turn))))
    assert told(state) == told(turn.state)
    assert [one.key for one in state.entries if one.value == "right"] == ["side"]


def test_what_is_taken_back_is_withdrawn(keeper: Keeper, hold: Hold) -> None:
    """An answer that was taken back or changed stays in the case and counts for nothing."""
    turn = hold("2", "add pull-current 0.1 A")
    kept(keeper, turn)
    case = kept(keeper, hold("change 10 3 A", after=turn))
    assert [one.body.get("value") for one in case.findings] == [None, 0.1, 3.0]
    assert [one.body.get("value") for one in case.counted] == [None, 3.0]
    case = kept(keeper, hold("2"))
    assert [one.check for one in case.counted] == ["engine-response"]
    machine = kept(keeper, hold("2", "change 4 0", "change 7 0")).machine
    assert machine["control"] == "unknown"
    assert "fuel_actuation" not in machine


def test_findings_go_before_the_machine_that_had_them(keeper: Keeper, hold: Hold) -> None:
    """Changing the machine so that a finding fits no more withdraws it and changes the machine."""
    turn = hold("2", "add crank-signal-voltage 11 V")
    kept(keeper, turn)
    case = kept(keeper, hold("change 4 1", after=turn))
    assert case.machine["control"] == "ignition-timed"
    assert [one.check for one in case.counted] == ["engine-response"]


def test_a_cure_closes_the_case_and_more_answers_open_it(keeper: Keeper, hold: Hold) -> None:
    """A repair that cured is how the case ended; taking that back, or going on, opens it again."""
    turn = hold("2", "repair ground-open", "1")
    case = kept(keeper, turn)
    assert case.outcome is not None
    assert case.outcome.cause == "ground-open"
    assert kept(keeper, hold("back", after=turn)).is_open


def test_each_answer_is_one_diagnosis(
    talk: Interview, keeper: Keeper, hold: Hold, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The book asks the engine with the request that the interview asked it with: once in all."""
    turn = hold("2", "add pull-current 0.11 A")
    kept(keeper, turn)
    asked: list[object] = []
    plain = talk.desk.diagnoser.diagnose
    monkeypatch.setattr(
        talk.desk.diagnoser, "diagnose", lambda request: asked.append(request) or plain(request)
    )
    kept(keeper, hold("add relay-87-voltage 11.6 V", after=turn))
    assert len(asked) == 1


def test_a_number_is_given_to_go_on_with(piped: Piped) -> None:
    """``save`` says the case's number, and ``--resume`` with it goes on with every answer."""
    done = piped([*LOADER, "2", "save", "quit"], "--book", "calls.sqlite3")
    assert done.returncode == 0, done.stderr
    number = done.stdout.partition("--resume ")[2].split()[0]
    done = piped(["add pull-current", "0.1 A", "list"], "--book", "calls.sqlite3", "--resume",
                 number, "--as", "technician")  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "What the engine does: It turns over but does not start" in done.stdout
    assert "Pull current: 0.1 A" in done.stdout.partition("WORK ORDER NOTE")[2]
    assert "tell me how to do it" in done.stdout


def test_a_slip_in_the_number_is_told(piped: Piped) -> None:
    """A number that is none, or of no case, is refused in the book's words."""
    for number, says in (("12345678", "slip in it"), ("48291372", "no case"), ("7", "8 digits")):
        done = piped([], "--resume", number)
        assert done.returncode == 1
        assert says in done.stderr, number


def test_the_work_order_goes_into_a_new_file(piped: Piped, tmp_path: Path) -> None:
    """``save FILE`` writes the work order as text, and never over a file that is there."""
    other = tmp_path / "other.txt"
    other.write_text("precious", encoding="utf-8")
    done = piped([*LOADER, "2", "save other.txt", "save order.txt", "quit"])
    assert done.returncode == 1, "one save was refused"
    assert other.read_text(encoding="utf-8") == "precious"
    assert "other.txt is there already" in done.stdout
    order = (tmp_path / "order.txt").read_text(encoding="utf-8")
    assert "Complaint: It turns over but does not start" in order


def test_without_a_place_for_the_book_the_interview_goes_on(piped: Piped, tmp_path: Path) -> None:
    """Where the user's own book cannot be made that is said; a book that is named must be one."""
    blocked = tmp_path / "blocked"
    blocked.write_text("a file, not a folder", encoding="utf-8")
    done = piped([*LOADER, "2"], XDG_DATA_HOME=str(blocked))
    assert done.returncode == 0
    assert "the answers cannot be kept" in done.stderr
    assert "Complaint: It turns over" in done.stdout
    done = piped([*LOADER], "--book", str(blocked))
    assert done.returncode == 1
    assert "blocked" in done.stderr


def test_what_the_knowledge_no_longer_takes_is_named(
    talk: Interview, book: Book, piped: Piped, tmp_path: Path
) -> None:
    """A finding of a case that this knowledge does not know is left out by name, not lost."""

    class AnyEngine:
        def diagnose(self, _: dict[str, Any]) -> dict[str, Any]:
            return talk.desk.diagnoser.diagnose(
                {"machine": {"duty": "fuel-shutoff", "control": "unknown", "coil": "unknown"}}
            )

    other = Book(book.database, AnyEngine(), book.knowledge)
    case = other.open({
        "machine": {"duty": "fuel-shutoff", "control": "unknown", "coil": "unknown"},
        "findings": [{"check": "relay-click", "outcome": "heard"},
                     {"check": "fuse-look", "outcome": "explodes"}],
    }, BY)  # fmt: skip
    done = piped([], "--book", str(tmp_path / "book" / "cases.sqlite3"), "--resume", case.number)
    assert done.returncode == 0, done.stderr
    assert "No longer fits, and was left out" in done.stdout
    assert "The relay clicks" in done.stdout
    assert len(book.get(case.number).findings) == 2
