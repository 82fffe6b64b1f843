"""The report of a replay, written row by row: a table to read, or JSON, and its totals."""

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from api import strict_json
from api.cases.numbers import show
from api.cases.replay.rescore import Row, View
from api.strict_json import Json

# The least probability that a score takes: an answer rounds to six places, and one case that a
# base holds to be impossible must not outweigh all the others.
FLOOR = 1e-6


@dataclass
class Side:
    """How often the confirmed cause came first or among three, and what the answers were worth."""

    first: int = 0
    first_three: int = 0
    bits: float = 0.0

    def add(self, view: View) -> None:
        """Count one answer."""
        rank = view.rank
        self.first += rank == 1
        self.first_three += rank is not None and rank <= 3


@dataclass
class Totals:
    """The totals of a replay."""

    changes: Counter[str] = field(default_factory=Counter)
    before: Side = field(default_factory=Side)
    after: Side = field(default_factory=Side)
    with_score: int = 0  # cases whose confirmed cause has a probability on both sides
    left_out: int = 0  # cases with something that the present base does not take

    def add(self, row: Row) -> None:
        """Count one row."""
        self.changes[row.change] += 1
        self.left_out += bool(row.left_out)
        if row.change == "not-scored":
            return
        self.before.add(row.before)
        self.after.add(row.after)
        first, second = row.before.probability, row.after.probability
        if first is not None and second is not None:
            self.with_score += 1
            self.before.bits += _bits(first)
            self.after.bits += _bits(second)

    def document(self) -> Json:
        """Return the totals as plain data.

        ``log_score`` is the mean of log2 of the confirmed cause's probability: 0 is best, and one
        less means half the probability. A case keeps five causes, so it is over those cases in
        which the confirmed one was among them.
        """
        scored = sum(self.changes.values()) - self.changes["not-scored"]
        return {
            "cases": sum(self.changes.values()),
            "scored": scored,
            **{name: self.changes[name] for name in ("better", "worse", "same")},
            "not_scored": self.changes["not-scored"],
            "left_out": self.left_out,
            "with_log_score": self.with_score,
            "before": self._side(self.before),
            "after": self._side(self.after),
        }

    def _side(self, side: Side) -> Json:
        score = round(side.bits / self.with_score, 4) if self.with_score else None
        return {"first": side.first, "first_three": side.first_three, "log_score": score}


def _bits(probability: float) -> float:
    return math.log2(max(probability, FLOOR))


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
