"""How wide a text will be, and where to break it: the drawing is laid out before any browser."""

import re
from collections.abc import Sequence

SIZE = 12.0  # pixels at 1:1, the smallest that is used
LINE = 15.0
# Advance widths in shares of the size, as the broadest of the usual sans-serif faces has them
# (DejaVu Sans, which stands in for the others where they are not installed): nearly all capitals,
# digits and small letters share a few values.
_NARROW = frozenset("ijl'|!.,:;`\u202f")
_SLIM = frozenset(' \u00a0ftrI()[]{}/\\-"*')
_BROAD = frozenset("mwMW%@+=")
_ROOM = 1.02  # letters of a class differ a little
_BOLD = 1.13
_UNIT = re.compile(r"(?<=[0-9]) (?=(V|A|ohm|s|%|x)\b|%)")
NO_BREAK = "\u00a0"
NARROW = "\u202f%"  # a per cent sign held close


def joined(text: str) -> str:
    """Return the text with each number held together with its unit."""
    return _UNIT.sub(NO_BREAK, text)


def width(text: str, bold: bool = False) -> float:
    """Return the width of a text in pixels, on the safe side."""
    units = sum(map(_advance, text))
    return units * SIZE * _ROOM * (_BOLD if bold else 1.0)


def _advance(letter: str) -> float:
    if letter in _NARROW:
        return 0.3
    if letter in _SLIM:
        return 0.38
    if letter in _BROAD:
        return 0.95
    if letter.isdigit():
        return 0.64
    if ord(letter) > 0x2E7F:  # East Asian letters and pictures fill a square
        return 1.1
    return 0.72 if letter.isupper() or ord(letter) > 0x2FF else 0.61


def wrap(text: str, room: float, bold: bool = False) -> list[str]:
    """Return the text in lines of at most ``room`` pixels; a word that is too long is cut."""
    lines = [""]
    for word in text.split(" "):
        for piece in _pieces(word, room, bold):
            longer = f"{lines[-1]} {piece}".strip()
            if width(longer, bold) <= room:
                lines[-1] = longer
            else:
                lines.append(piece)
    return [line for line in lines if line]


def _pieces(word: str, room: float, bold: bool) -> Sequence[str]:
    """Return a word as it stands, or cut into pieces that fit."""
    if width(word, bold) <= room:
        return [word]
    pieces = [""]
    for letter in word:
        if pieces[-1] and width(pieces[-1] + letter, bold) > room:
            pieces.append("")
        pieces[-1] += letter
    return pieces
