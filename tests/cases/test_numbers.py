"""Case numbers: a person can read them out, and a slip is heard."""

import pytest

from api.cases import Book, NoSuchCase, numbers
from tests.cases.conftest import MACHINE


def test_check_digit_is_damms() -> None:
    """The check digit of 572 is 4: the worked example of Damm's dissertation (2004)."""
    assert numbers.with_check("572") == "5724"


def test_drawn_numbers_are_eight_digits_and_good() -> None:
    """Every drawn number reads back as itself, has no leading zero, and they differ."""
    drawn = {numbers.draw() for _ in range(500)}
    assert len(drawn) > 490
    for one in drawn:
        assert len(one) == 8
        assert one[0] != "0"
        assert numbers.read(numbers.show(one)) == one


@pytest.mark.parametrize("gap", [" ", "-", ".", "\u2013", "\u00a0", "\n", " - "])
def test_gaps_do_not_matter(gap: str) -> None:
    """Spaces, dots and hyphens may stand where the person puts them."""
    good = numbers.with_check("4829137")
    assert numbers.read(gap.join([good[:2], good[2:4], good[4:]])) == good


def test_every_wrong_digit_and_every_swap_is_heard() -> None:
    """One digit misheard, or two neighbours swapped, is never taken for another case."""
    good = numbers.with_check("5836024")
    slips = [good[:i] + d + good[i + 1 :] for i in range(8) for d in "0123456789" if d != good[i]]
    slips += [good[:i] + good[i + 1] + good[i] + good[i + 2 :] for i in range(7)]
    for slip in set(slips) - {good}:
        with pytest.raises(numbers.NotANumberError, match="slip") as caught:
            numbers.read(slip)
        assert caught.value.slip


@pytest.mark.parametrize("typed", ["", "1234567", "123456789", "abcdefgh", "٤٨٢٩١٣٧٥", "1" * 10000])
def test_other_texts_are_no_numbers(typed: str) -> None:
    """What is not eight plain digits is told so, and is not called a slip."""
    with pytest.raises(numbers.NotANumberError, match="8 digits") as caught:
        numbers.read(typed)
    assert not caught.value.slip


@pytest.mark.both_databases
def test_a_slip_names_the_case_it_may_have_been(book: Book) -> None:
    """A number with two digits swapped brings up the case that was meant."""
    taken = book.open({"machine": MACHINE}, "Dana").number
    place = next(i for i in range(1, 7) if taken[i] != taken[i + 1])
    digits = taken[:place] + taken[place + 1] + taken[place] + taken[place + 2 :]
    with pytest.raises(NoSuchCase, match="slip in it") as caught:
        book.get(digits)
    assert caught.value.slip
    assert numbers.show(taken) in caught.value.nearest


def test_a_good_number_without_a_case_is_told_so(book: Book) -> None:
    """A number that is well formed and not taken is no slip."""
    with pytest.raises(NoSuchCase, match="no case 1000 000") as caught:
        book.get(numbers.with_check("1000000"))
    assert not caught.value.slip


@pytest.mark.both_databases
def test_a_taken_number_is_drawn_again(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two cases never share a number: a draw that is taken is repeated."""
    draws = iter([numbers.with_check(one) for one in ("1111111", "1111111", "2222222")])
    monkeypatch.setattr(book, "_draw", lambda: next(draws))
    first = book.open({"machine": MACHINE}, "Dana")
    second = book.open({"machine": MACHINE}, "Dana")
    assert first.number.startswith("1111111")
    assert second.number.startswith("2222222")
