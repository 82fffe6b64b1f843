"""What people type is kept to the letter, within limits; what no store can hold is refused."""

from typing import Any

import pytest

from api.cases import Book
from engine import RequestError
from tests.cases.conftest import CRANKS, MACHINE

ODD = [
    "Ünïcode ß Ж 漢字 🚜 e\u0301", "'; DROP TABLE cases; --", "%_\\", "  blanks kept  ", "<b>&amp;",
    "right\u202eleft", "zero\u200bwidth", "\ufeffmark", "null", "0", "=1+1",
]  # fmt: skip


@pytest.mark.both_databases
def test_texts_come_back_to_the_letter(book: Book) -> None:
    """Nothing is trimmed, folded or escaped on the way through the store."""
    for text in ODD:
        case = book.open(
            {"machine": MACHINE, "complaint": text, "fleet_number": text[:40],
             "findings": [CRANKS | {"note": text}]}, text,
        )  # fmt: skip
        found = book.get(case.number)
        assert found == case
        assert found.complaint == text
        assert found.opened_by == text
        assert found.findings[0].body["note"] == text


def test_lines_are_kept_in_long_texts_only(book: Book) -> None:
    """A complaint may have lines as a browser sends them; a fleet number may not."""
    case = book.open({"machine": MACHINE, "complaint": "one\r\n\ttwo\n"}, "Dana")
    assert book.get(case.number).complaint == "one\r\n\ttwo\n"
    with pytest.raises(RequestError, match=r"fleet_number.*U\+000A"):
        book.open({"machine": MACHINE, "fleet_number": "a\nb"}, "Dana")


CONTROLS = ["\x00", "\x1b[31m", "\x07", "\x7f", "\x85", "\ud800"]


@pytest.mark.parametrize(
    ("place", "path"),
    [
        (lambda t: {"machine": MACHINE, "complaint": t}, "complaint"),
        (lambda t: {"machine": MACHINE, "reference": t}, "reference"),
        (lambda t: {"machine": MACHINE | {"coil": t}}, "machine.coil"),
        (lambda t: {"machine": MACHINE, "findings": [CRANKS | {"note": t}]}, "findings[0].note"),
        (lambda t: {"machine": MACHINE, "findings": [CRANKS | {t: 1}]}, "findings[0]"),
        (lambda t: {"machine": MACHINE, "excluded": [t]}, "excluded[0]"),
    ],
)  # fmt: skip
def test_control_characters_are_refused(book: Book, place: Any, path: str) -> None:
    """NUL, which PostgreSQL cannot hold, and what moves a terminal stand in no text."""
    for bad in CONTROLS:
        with pytest.raises(RequestError, match="control character") as caught:
            book.open(place(f"a{bad}b"), "Dana")
        assert path in [fault.path for fault in caught.value.faults], repr(bad)
    assert book.list().cases == ()


def test_control_characters_are_refused_in_every_step(book: Book, number: str) -> None:
    """Names, reasons, notes and filters are looked at too."""
    tries = [
        lambda: book.add_findings(number, [CRANKS], "a\x00"),
        lambda: book.withdraw(number, 1, "Ana", "a\x00"),
        lambda: book.change(number, {"handed_to": "a\x00"}, "Ana", 1),
        lambda: book.change(number, {"machine": {"coil\x00": "x"}}, "Ana", 1),
        lambda: book.close(number, {"cause": "healthy", "note": "a\x00"}, "Ana", 1),
        lambda: book.close(number, {"cause": "healthy", "replaced": ["a\x00"]}, "Ana", 1),
        lambda: book.list(text="a\x00"),
        lambda: book.list(fleet_number="a\x00"),
        lambda: book.list(cursor="a\x00"),
    ]
    for one in tries:
        with pytest.raises(RequestError):
            one()
    assert book.get(number).version == 1


LIMITS = {"fleet_number": 40, "machine_type": 80, "reference": 80, "handed_to": 80,
          "complaint": 4000}  # fmt: skip


@pytest.mark.both_databases
def test_limits_of_texts(book: Book) -> None:
    """The longest text is kept whole, on PostgreSQL too; one character more is refused."""
    for name, most in LIMITS.items():
        case = book.open({"machine": MACHINE, name: "🚜" * most}, "Dana")
        assert getattr(book.get(case.number), name) == "🚜" * most
        with pytest.raises(RequestError, match=f"{name}.*at most {most}"):
            book.open({"machine": MACHINE, name: "x" * (most + 1)}, "Dana")


@pytest.mark.both_databases
def test_limits_of_names_and_reasons(book: Book, number: str) -> None:
    """The longest name and reason are kept whole; one character more is refused."""
    book.withdraw(number, 1, "n" * 165, "r" * 500)
    gone = book.get(number).findings[0].withdrawn
    assert gone is not None
    assert (len(gone.by), len(gone.because)) == (165, 500)
    with pytest.raises(RequestError, match="at most 165"):
        book.reopen(number, "", "n" * 166)
    with pytest.raises(RequestError, match="at most 500"):
        book.withdraw(number, 1, "Ana", "r" * 501)


def test_too_many_findings_are_refused(book: Book, number: str) -> None:
    """The engine weighs 500; what goes beyond is told to the sender and nothing is kept."""
    with pytest.raises(RequestError, match="at most 500"):
        book.add_findings(number, [CRANKS | {"outcome": "not-known"}] * 500, "Ana")
    with pytest.raises(RequestError, match="at most 1000"):
        book.add_findings(number, [CRANKS] * 1001, "Ana")
    with pytest.raises(RequestError, match="at least one"):
        book.add_findings(number, [], "Ana")
    assert book.get(number).version == 1
