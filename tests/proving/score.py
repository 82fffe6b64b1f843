"""Scores of answers: the true cause first, in the first three, and how well the chances hold."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tests.proving import measures, safety
from tests.proving.data import applies, kb
from tests.proving.kits import findings, rank, stands_alone
from tests.proving.simulator import SimulatedMachine
from tests.proving.strategies import Diagnose


@dataclass(frozen=True)
class Scored:
    """One answer to one machine with one kit."""

    kit: str
    cause: str
    duty: str
    control: str
    coil: str
    known_part: bool
    lead: str
    lead_chance: float
    place: int
    alone: bool
    brier: float
    log_loss: float
    uniform: tuple[float, float]  # Brier and log loss of even chances over the machine's causes
    prior: tuple[float, float]  # and of the shares
    unsafe: tuple[str, ...]

    @property
    def first(self) -> bool:
        """Return whether the true cause leads and no other stands in its group."""
        return self.place == 1 and self.alone

    @property
    def among_three(self) -> bool:
        """Return whether the true cause is among the first three."""
        return 1 <= self.place <= 3


def score(machine: SimulatedMachine, kit: str, diagnose: Diagnose) -> Scored:
    """Do every check of a kit, ask for the diagnosis, and score it."""
    found = findings(machine, kit)
    answer = diagnose({"machine": machine.told, "findings": found, "limit": 0})
    causes = answer["causes"]
    chances = {str(one["id"]): float(one["probability"]) for one in causes}
    true = machine.story.specimen.machine
    return Scored(
        kit, machine.cause, true["duty"], true["control"], true["coil"],
        "pull_ohms" in machine.told, str(causes[0]["id"]), float(causes[0]["probability"]),
        rank(causes, machine.cause), stands_alone(causes),
        measures.brier_of_many(chances, machine.cause),
        measures.log_loss_of_many(chances, machine.cause),
        *_baselines(true, machine.cause), tuple(safety.faults(answer, machine.told, found)),
    )  # fmt: skip


def _baselines(
    true: Mapping[str, Any], cause: str
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return Brier and log loss of even chances and of the shares, over the machine's causes."""
    shares = {name: float(one["share"]) for name, one in kb("causes").items() if applies(one, true)}
    total = sum(shares.values())
    even, prior = dict.fromkeys(shares, 1 / len(shares)), {n: s / total for n, s in shares.items()}
    pairs = [(measures.brier_of_many(c, cause), measures.log_loss_of_many(c, cause))
             for c in (even, prior)]  # fmt: skip
    return pairs[0], pairs[1]


@dataclass(frozen=True)
class Share:
    """A share of cases with its 95 % interval (Wilson)."""

    hits: int
    of: int

    @property
    def value(self) -> float:
        """Return the share."""
        return self.hits / self.of

    @property
    def interval(self) -> tuple[float, float]:
        """Return the interval."""
        return measures.wilson(self.hits, self.of)

    def as_dict(self) -> dict[str, float]:
        """Return value and interval as plain data."""
        low, high = self.interval
        return {"share": round(self.value, 4), "low": round(low, 4), "high": round(high, 4)}


def share_of(rows: Sequence[Scored], test: Callable[[Scored], bool]) -> Share:
    """Return how many of the rows meet a test."""
    return Share(sum(1 for row in rows if test(row)), len(rows))


def summary(rows: Sequence[Scored]) -> dict[str, Any]:
    """Return the figures of one kit (or any set of scored answers) as plain data."""
    said = [row.lead_chance for row in rows]
    right = [int(row.lead == row.cause) for row in rows]
    count = len(rows)
    return {
        "machines": count,
        "first": share_of(rows, lambda row: row.first).as_dict(),
        "first_or_tied": share_of(rows, lambda row: row.place == 1).as_dict(),
        "first_three": share_of(rows, lambda row: row.among_three).as_dict(),
        "brier": round(sum(row.brier for row in rows) / count, 4),
        "log_loss": round(sum(row.log_loss for row in rows) / count, 4),
        "uniform": [round(sum(row.uniform[n] for row in rows) / count, 4) for n in (0, 1)],
        "prior": [round(sum(row.prior[n] for row in rows) / count, 4) for n in (0, 1)],
        "calibration_error": round(measures.calibration_error(said, right), 4),
        "calibration_by_chance": [round(one, 4) for one in measures.calibration_by_chance(said)],
        "unsafe": share_of(rows, lambda row: bool(row.unsafe)).as_dict(),
        "uncovered": share_of(rows, lambda row: row.place == 0).as_dict(),
    }


def by(rows: Iterable[Scored], field: str) -> dict[str, list[Scored]]:
    """Return the rows sorted into the values of a field."""
    found: dict[str, list[Scored]] = {}
    for row in rows:
        found.setdefault(str(getattr(row, field)), []).append(row)
    return dict(sorted(found.items()))


def worst_causes(rows: Sequence[Scored], count: int = 8) -> list[dict[str, Any]]:
    """Return the causes that most often do not lead, with what led instead."""
    found: list[dict[str, Any]] = []
    for cause, mine in by(rows, "cause").items():
        missed = [row.lead for row in mine if row.lead != cause]
        instead = max(sorted(set(missed)), key=missed.count) if missed else None
        found.append({"cause": cause, "machines": len(mine), "missed": len(missed),
                      "led_instead": instead})  # fmt: skip
    return sorted(found, key=lambda one: (-one["missed"], one["cause"]))[:count]
