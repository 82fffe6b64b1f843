"""Case numbers that a person can read out: eight digits, the last one a check digit.

Seven random digits, so that one number says nothing about the next, and Damm's check digit
(H. M. Damm, "Total anti-symmetrische Quasigruppen", Marburg 2004), which finds every single wrong
digit and every swap of two neighbours.
"""

import re
import secrets

from stdnum import damm

from api.translation import gettext

DIGITS = 8
SHOWN = "48291372"
_GAPS = re.compile(r"[\s.\-\u2010-\u2015]+")


class NotANumberError(ValueError):
    """What was given is not a case number; ``slip`` when only the check digit is wrong."""

    def __init__(self, message: str, digits: str = "", slip: bool = False) -> None:
        super().__init__(message)
        self.digits = digits
        self.slip = slip


def draw() -> str:
    """Return a new number, never with a leading zero: spreadsheets drop that."""
    return with_check(str(secrets.randbelow(9 * 10 ** (DIGITS - 2)) + 10 ** (DIGITS - 2)))


def with_check(digits: str) -> str:
    """Return the digits with their check digit behind them."""
    return digits + str(damm.calc_check_digit(digits))


def read(text: str) -> str:
    """Return the bare digits of a number as a person types it, with spaces, dots or hyphens.

    Raises NotANumberError, with a sentence that says what is wrong with it.
    """
    digits = _GAPS.sub("", text[:40])
    if not (digits.isascii() and digits.isdecimal() and len(digits) == DIGITS):
        raise NotANumberError(gettext("A case number has %(count)d digits, as in %(shown)s.",
                                      count=DIGITS, shown=show(SHOWN)))  # fmt: skip
    if not damm.is_valid(digits):
        raise NotANumberError(
            gettext(
                "That number has a slip in it: %(number)s cannot be a case. Ask for it again, "
                "digit by digit.",
                number=show(digits),
            ),
            digits,
            slip=True,
        )
    return digits


def show(digits: str) -> str:
    """Return the number with a gap in the middle, as it is read out."""
    return f"{digits[:4]} {digits[4:]}"


def neighbours(digits: str) -> list[str]:
    """Return the good numbers that one wrong digit, or two swapped ones, could have been."""
    found = []
    for place in range(len(digits)):
        head, tail = digits[:place], digits[place + 1 :]
        found += [head + other + tail for other in "0123456789" if other != digits[place]]
        if tail:
            found.append(head + tail[0] + digits[place] + tail[1:])
    return sorted({one for one in found if one != digits and damm.is_valid(one)})
