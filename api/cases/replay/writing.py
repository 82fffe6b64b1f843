"""The report of a replay, written row by row: a table to read, or JSON, and its totals."""

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from api import strict_json
from api.cases.numbers import show
from api.cases.replay.rescore import Row, View
from api.strict_json import Json

# The least probability that a score takes: an answer rounds to six places, and one case that a
# base holds to be impossible must not outweigh all the others.
FLOOR = 1e-6


class Totals:
    """The totals of a replay."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()
        self._sides = {"before": Side(), "after": Side()}

    def add(self, row: Row) -> None:
        """Count one row."""
        self._counts.update(["cases", row.change, *["left_out"] * bool(row.left_out)])
        if row.change == "not-scored":
            return
        both = None not in (row.before.probability, row.after.probability)
        self._counts["with_log_score"] += both
        for side, view in zip(self._sides.values(), (row.before, row.after), strict=True):
            rank = view.rank or math.inf
            side.first += rank == 1
            side.first_three += rank <= 3
            side.bits += math.log2(max(view.probability or 0.0, FLOOR)) if both else 0.0

    def document(self) -> Json:
        """Return the totals as plain data.

        ``log_score`` is the mean of log2 of the confirmed cause's probability: 0 is best, and one
        less means half the probability. A case keeps five causes, so it is over those cases in
        which the confirmed one was among them.
        """
        counts, number = self._counts, self._counts["with_log_score"]
        return {
            "cases": counts["cases"],
            "scored": counts["cases"] - counts["not-scored"],
            **{name: counts[name] for name in ("better", "worse", "same")},
            "not_scored": counts["not-scored"],
            "left_out": counts["left_out"],
            "with_log_score": number,
            **{
                name: {"first": side.first, "first_three": side.first_three,
                       "log_score": round(side.bits / number, 4) if number else None}
                for name, side in self._sides.items()
            },
        }  # fmt: skip


@dataclass
class Side:
    """How often the confirmed cause came first or among three, and the sum of log2 of it."""

    first: int = 0
    first_three: int = 0
    bits: float = 0.0


_WIDTHS = "{:<9} {:<8} {:<30} {:>9} {:>15}  {}"
Print = Callable[[str], object]


class ReportTable:
    """A line for each case that is better or worse (all with ``everything``), then the totals."""

    def __init__(self, say: Print, everything: bool = False) -> None:
        self._say = say
        self._everything = everything
        self._started = False

    def row(self, row: Row) -> None:
        """Write one case; where the lead or the next check changed, a line for each says so."""
        if row.change in ("same", "not-scored") and not self._everything:
            return
        if not self._started:
            self._say(_line("case", "change", "confirmed cause", "rank", "probability", "lead"))
            self._started = True
        before, after = row.before, row.after
        self._say(
            _line(
                show(row.case), row.change, row.confirmed,
                f"{_rank(before)} > {_rank(after)}", f"{_share(before)} > {_share(after)}",
                _moved(before.leading, after.leading),
            )
        )  # fmt: skip
        if before.next_check != after.next_check:
            moved = _moved(before.next_check, after.next_check)
            self._say(_line("", "", "", "", "next check:", moved))

    def end(self, totals: Json, version: str) -> None:
        """Write the totals."""
        if self._started:
            self._say("")
        self._say(
            f"{totals['cases']} closed cases under knowledge base {version}: "
            f"{totals['better']} better, {totals['worse']} worse, {totals['same']} the same, "
            f"{totals['not_scored']} not scored"
        )
        before, after, scored = totals["before"], totals["after"], totals["scored"]
        for name, key in (("first", "first"), ("among the first three", "first_three")):
            self._say(f"confirmed cause {name}: {before[key]} > {after[key]} of {scored}")
        if totals["with_log_score"]:
            self._say(
                f"mean log2 of its probability: {before['log_score']} > {after['log_score']} over "
                f"{totals['with_log_score']} cases (0 is best)"
            )
        if totals["left_out"]:
            self._say(f"{totals['left_out']} cases have findings that this base does not take")


def _line(*parts: str) -> str:
    return _WIDTHS.format(*parts).rstrip()


def _rank(view: View) -> str:
    return "-" if view.rank is None else str(view.rank)


def _share(view: View) -> str:
    return "-" if view.probability is None else f"{view.probability:.3f}"


def _moved(before: str | None, after: str | None) -> str:
    return f"{before or '-'} > {after or '-'}" if before != after else before or "-"


class JsonReport:
    """One JSON document, ``{"cases": [...], "totals": {...}}``, one case a line."""

    def __init__(self, write: Print) -> None:
        self._write = write
        self._before = '{"cases":[\n'

    def row(self, row: Row) -> None:
        """Write one case."""
        self._write(self._before + strict_json.dumps(row.to_dict()).rstrip("\n"))
        self._before = ",\n"

    def end(self, totals: Json, version: str) -> None:
        """Write the totals and close the document."""
        start = "\n" if self._before == ",\n" else self._before
        about = strict_json.dumps({**totals, "knowledge_version": version}).rstrip("\n")
        self._write(f'{start}],"totals":{about}}}\n')
