"""A recording as lines of plain text, for a terminal: its first channel, fit and marks on it."""

from itertools import pairwise

from api.strict_json import Json
from api.sums.model import shown

COLUMNS, ROWS = 72, 15
RECORDED, FITTED, MARK = ".", "*", "|"


def sketch(answer: Json) -> list[str]:
    """Return the curve: ``.`` recorded, ``*`` where the fit lies on it, ``|`` the moments read."""
    curve = answer["curves"][0]
    lines = [line["points"] for line in curve["lines"]]
    xs, ys = (sorted(point[n] for line in lines for point in line) for n in (0, 1))
    left, low = xs[0], ys[0]
    wide, high = (xs[-1] - left) or 1.0, (ys[-1] - low) or 1.0
    paper = [[" "] * COLUMNS for _ in range(ROWS)]
    for mark in answer["marks"]:
        for row in paper:
            row[_place((mark["seconds"] - left) / wide, COLUMNS)] = MARK
    for points, sign in zip(lines, (RECORDED, FITTED), strict=False):
        for column, value in _columns(points, left, wide):
            paper[ROWS - 1 - _place((value - low) / high, ROWS)][column] = sign
    margin = max(len(shown(ys[0], 3)), len(shown(ys[-1], 3)))
    ends = {0: shown(ys[-1], 3), ROWS - 1: shown(ys[0], 3)}
    rows = [f"{ends.get(n, ''):>{margin}} |{''.join(row).rstrip()}" for n, row in enumerate(paper)]
    first, last = (f"{shown(one, 3)} s" for one in (xs[0], xs[-1]))
    foot = f"{first}{last:>{COLUMNS - len(first)}}"
    words = ", ".join(f"{one['name']} {shown(one['seconds'], 3)} s" for one in answer["marks"])
    about = f"{curve['y']['name']} in {curve['y']['unit']}"
    return [
        f"{about}: {RECORDED} recorded, {FITTED} fitted, {MARK} {words}", *rows,
        f"{'':{margin}} +{'-' * COLUMNS}", f"{'':{margin}}  {foot}",
    ]  # fmt: skip


def _place(share: float, size: int) -> int:
    return min(max(int(share * size), 0), size - 1)


def _columns(points: list[list[float]], left: float, wide: float) -> list[tuple[int, float]]:
    """Return column and value of each point, and of the way between two that lie far apart."""
    found = []
    for (x1, y1), (x2, y2) in pairwise(points):
        steps = max(round(ROWS * 6 * abs(x2 - x1) / wide), 6)
        for step in range(steps):
            share = step / steps
            at = (x1 + (x2 - x1) * share - left) / wide
            found.append((_place(at, COLUMNS), y1 + (y2 - y1) * share))
    return found
