"""The symbols of the parts, upright on an axis: the usual shapes of IEC 60617, our own sizes.

Each is lines and boxes around (0, 0); its wire enters at the top and leaves at the bottom.
"""

from collections.abc import Mapping
from dataclasses import dataclass

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Symbol:
    """Strokes, boxes (left, top, width, height) and rings; the wire is broken from -reach to reach.

    ``thick`` strokes are drawn broad, ``fine`` ones thin, ``dashed`` ones broken.
    """

    reach: float
    strokes: tuple[Points, ...] = ()
    boxes: tuple[tuple[float, float, float, float], ...] = ()
    thick: tuple[Points, ...] = ()
    fine: tuple[Points, ...] = ()
    dashed: tuple[Points, ...] = ()
    rings: tuple[tuple[float, float, float], ...] = ()
    letter: str = ""


_MAKE = (((0, 14), (0, 8), (-8, -7)), ((0, -14), (0, -8)))

SYMBOLS: Mapping[str, Symbol] = {
    "wire": Symbol(14, strokes=(((0, -14), (0, 14)),), thick=(((0, -9), (0, 9)),)),
    "battery": Symbol(
        14, strokes=(((0, -14), (0, -4)), ((0, 4), (0, 14)), ((-11, -4), (11, -4)),
                     ((5, -11), (10, -11)), ((7.5, -13.5), (7.5, -8.5))),
        thick=(((-6, 4), (6, 4)),),
    ),
    "load": Symbol(15, boxes=((-5, -15, 10, 30),)),
    "winding": Symbol(15, boxes=((-7, -15, 14, 30),), strokes=(((-7, 8), (7, -8)),)),
    "coil": Symbol(11, boxes=((-11, -8, 22, 16),), strokes=(((0, -11), (0, -8)), ((0, 8), (0, 11)),
                                                            ((-6, 8), (6, -8)))),
    "fuse": Symbol(15, boxes=((-5, -13, 10, 26),), strokes=(((0, -15), (0, 15)),)),
    "contact": Symbol(14, strokes=_MAKE, rings=((0, -8, 1.6),)),
    "switch": Symbol(
        14, strokes=_MAKE, dashed=(((-4, 0.5), (-11, 0.5)),), thick=(((-11, -3), (-11, 4)),)
    ),
    "timer": Symbol(
        14, strokes=_MAKE,
        fine=(((-4.6, -1), (-11, -1)), ((-3.2, 2), (-11, 2)),
              ((-8.5, -6.5), (-10.5, -3.5), (-11.2, 0.5), (-10.5, 4.5), (-8.5, 7.5))),
    ),
    "plug": Symbol(
        15, strokes=(((0, -15), (0, -7)), ((0, 8), (0, 15)),
                     ((-8, 4), (-7, -1), (-4, -5.5), (0, -7), (4, -5.5), (7, -1), (8, 4))),
        thick=(((0, -1), (0, 8)),),
    ),
    "joint": Symbol(14, strokes=(((0, -14), (0, -5)), ((0, 5), (0, 14)),
                                 ((-3.5, 3.5), (3.5, -3.5))),
                    rings=((0, 0, 5),)),
    "motor": Symbol(11, rings=((0, 0, 11),), letter="M"),
    "fault": Symbol(
        14, strokes=(((0, -14), (0, -6), (5, -2), (-5, 2), (0, 6), (0, 14)),)
    ),
}  # fmt: skip
