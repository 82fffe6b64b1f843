"""Scores of answers: the true cause first, in the first three, and how well the chances hold."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tests.proving import measures, safety
from tests.proving.data import applies, kb
from tests.proving.kits import findings, rank, request, stands_alone
from tests.proving.roughness import NOT_LISTED
from tests.proving.simulator import SimulatedMachine
from tests.proving.strategies import Diagnose

SURE = 0.6  # a leader over this that is wrong is confidently wrong


@dataclass(frozen=True)
class Scored:
    """One answer to one machine with one kit."""

    kit: str
    causes: tuple[str, ...]
    group: str  # single, pair or not-listed
    comes_and_goes: bool
    repaired: bool
    duty: str
    control: str
    coil: str
    known_part: bool
    lead: str
    lead_chance: float
    places: tuple[int, ...]  # of the true causes, from 1; 0 when the answer leaves it out
    alone: bool
    not_listed: tuple[int, float]  # place and chance of not-listed
    brier: float
    log_loss: float
    uniform: tuple[float, float]  # Brier and log loss of even chances over the machine's causes
    prior: tuple[float, float]  # and of the shares
    unsafe: tuple[str, ...]

    @property
    def cause(self) -> str:
        """Return the true cause, the first of two."""
        return self.causes[0]

    @property
    def place(self) -> int:
        """Return the place of the true cause, of two the better one."""
        return min((one for one in self.places if one), default=0)

    @property
    def first(self) -> bool:
        """Return whether a true cause leads and no other stands in its group."""
        return self.place == 1 and self.alone

    @property
    def among_three(self) -> bool:
        """Return whether a true cause is among the first three."""
        return 1 <= self.place <= 3

    @property
    def surely_wrong(self) -> bool:
        """Return whether something else leads by more than SURE."""
        return self.place != 1 and self.lead_chance > SURE


def score(machine: SimulatedMachine, kit: str, diagnose: Diagnose) -> Scored:
    """Do every check of a kit, ask for the diagnosis, and score it."""
    asked = request(machine, findings(machine, kit))
    answer = diagnose(asked)
    causes = answer["causes"]
    chances = {str(one["id"]): float(one["probability"]) for one in causes}
    true = machine.story.specimen
    ours = max(machine.causes, key=lambda name: chances.get(name, 0.0))
    return Scored(
        kit, machine.causes, machine.group, true.comes_and_goes, bool(machine.replaced),
        true.machine["duty"], true.machine["control"], true.machine["coil"],
        "pull_ohms" in machine.told, str(causes[0]["id"]), float(causes[0]["probability"]),
        tuple(rank(causes, name) for name in machine.causes), stands_alone(causes),
        (rank(causes, NOT_LISTED), chances.get(NOT_LISTED, 0.0)),
        measures.brier_of_many(chances, ours), measures.log_loss_of_many(chances, ours),
        *_baselines(true.machine, ours),
        tuple(safety.faults(answer, asked["machine"], asked["findings"])),
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
    """Return the figures of one kit (or any set of scored answers) as plain data.

    ``surely_wrong_foretold`` is what ``surely_wrong`` would be if the chances held exactly: so much
    of it is what the findings leave open, the rest is overconfidence.
    """
    said = [row.lead_chance for row in rows]
    right = [int(row.place == 1) for row in rows]
    count = len(rows)
    debiased = measures.debiased_calibration(said, right)
    return {
        **ranking(rows),
        "brier": round(sum(row.brier for row in rows) / count, 4),
        "log_loss": round(sum(row.log_loss for row in rows) / count, 4),
        "uniform": [round(sum(row.uniform[n] for row in rows) / count, 4) for n in (0, 1)],
        "prior": [round(sum(row.prior[n] for row in rows) / count, 4) for n in (0, 1)],
        "calibration_error": round(measures.calibration_error(said, right), 4),
        "calibration_interval": [round(n, 4) for n in measures.calibration_interval(said, right)],
        "calibration_debiased": debiased and [round(one, 4) for one in debiased],
        "calibration_by_chance": [round(one, 4) for one in measures.calibration_by_chance(said)],
        "calibration_needs": measures.machines_for_calibration(said),
        "surely_wrong": share_of(rows, lambda row: row.surely_wrong).as_dict(),
        "surely_wrong_foretold": round(sum(1 - one for one in said if one > SURE) / count, 4),
        "unsafe": share_of(rows, lambda row: bool(row.unsafe)).as_dict(),
        "uncovered": share_of(rows, lambda row: row.place == 0).as_dict(),
    }


def ranking(rows: Sequence[Scored]) -> dict[str, Any]:
    """Return where the true cause stands, as plain data; of two faults the better placed one.

    ``first_or_tied``: it leads the list, perhaps by its share alone, as a classifier's first does.
    ``first``: and no other is in its group, so that some finding tells it from all others.
    """
    return {
        "machines": len(rows),
        "first": share_of(rows, lambda row: row.first).as_dict(),
        "first_or_tied": share_of(rows, lambda row: row.place == 1).as_dict(),
        "first_three": share_of(rows, lambda row: row.among_three).as_dict(),
    }


def not_listed(rows: Sequence[Scored]) -> dict[str, Any]:
    """Return how often "not listed" leads where it is true, and is believed where it is not."""
    true = [row for row in rows if row.group == NOT_LISTED]
    single = [row for row in rows if row.group == "single"]
    pairs = [row for row in rows if row.group == "pair"]
    tests: dict[str, tuple[Sequence[Scored], Callable[[Scored], bool]]] = {
        "true_first": (true, lambda row: row.not_listed[0] == 1),
        "true_first_two": (true, lambda row: 1 <= row.not_listed[0] <= 2),
        "false_believed": (single, lambda row: row.not_listed[1] > 0.5),
        "pair_believed": (pairs, lambda row: row.not_listed[1] > 0.5),
        "pair_both_in_three": (pairs, lambda row: all(1 <= n <= 3 for n in row.places)),
    }
    return {name: share_of(mine, test).as_dict() for name, (mine, test) in tests.items() if mine}


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
        missed = [row.lead for row in mine if row.place != 1]
        instead = max(sorted(set(missed)), key=missed.count) if missed else None
        found.append({"cause": cause, "machines": len(mine), "missed": len(missed),
                      "led_instead": instead})  # fmt: skip
    return sorted(found, key=lambda one: (-one["missed"], one["cause"]))[:count]
