"""Runs the proving ground: machines shared out to processes, scored and played, then summed up."""

import json
import multiprocessing
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from engine import Diagnoser
from engine.knowledge import load_knowledge
from tests.proving import measures
from tests.proving.kits import KITS
from tests.proving.score import Scored, Share, by, score, summary, worst_causes
from tests.proving.simulator import SimulatedMachine, draw_machines
from tests.proving.strategies import (
    Played,
    by_advice,
    by_fixed_order,
    by_likeliest_part,
    repair_alone,
)

STRATEGIES = ("advice", "fixed-order", "likeliest-part", "repair-alone")
CHUNK = 25


@dataclass
class Results:
    """Everything that a run found."""

    machines: int
    seed: int
    scored: list[Scored] = field(default_factory=list)
    played: dict[str, list[Played]] = field(default_factory=dict)
    causes: list[str] = field(default_factory=list)  # of the machines played, in the same order


_worker: dict[str, Any] = {}


def _start() -> None:
    _worker["diagnoser"] = Diagnoser(load_knowledge())


def prove_machines(
    machines: Sequence[SimulatedMachine], kits: Sequence[str], diagnoser: Diagnoser, play: bool
) -> list[tuple[int, list[Scored], list[Played]]]:
    """Score and play some machines; returns the machine's number with what was found."""
    found = []
    for machine in machines:
        scored = [score(machine, kit, diagnoser.diagnose) for kit in kits]
        played = []
        if play:
            played = [by_advice(machine, diagnoser.diagnose), by_fixed_order(machine),
                      by_likeliest_part(machine), repair_alone(machine)]  # fmt: skip
        found.append((machine.number, scored, played))
    return found


def _job(job: tuple[list[SimulatedMachine], tuple[str, ...], bool]) -> Any:
    machines, kits, play = job
    return prove_machines(machines, kits, _worker["diagnoser"], play)


def prove(  # noqa: PLR0917 - what the command lets one choose
    count: int, seed: int, kits: Sequence[str] = tuple(KITS), jobs: int = 1, play: bool = True,
    progress: Callable[[int], None] = lambda done: None,
) -> Results:  # fmt: skip
    """Draw machines, score and play them in ``jobs`` processes; the same seed, the same results."""
    machines = draw_machines(count, seed)
    # machines of one description beside each other: the engine builds one model for all of them
    machines.sort(key=lambda one: (json.dumps(one.told, sort_keys=True), one.number))
    chunks = [machines[n : n + CHUNK] for n in range(0, count, CHUNK)]
    work = [(chunk, tuple(kits), play) for chunk in chunks]
    found: list[Any] = []
    if jobs <= 1:
        _start()
        for job in work:
            found += _job(job)
            progress(len(found))
    else:
        for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
            os.environ.setdefault(name, "1")  # one thread a process: they do not share well
        context = multiprocessing.get_context("spawn")
        with context.Pool(jobs, initializer=_start) as pool:
            for part in pool.imap(_job, work):
                found += part
                progress(len(found))
    found.sort(key=lambda one: one[0])
    results = Results(count, seed)
    results.causes = [one.cause for one in sorted(machines, key=lambda one: one.number)]
    results.scored = [row for _, rows, _ in found for row in rows]
    if play:
        for place, name in enumerate(STRATEGIES):
            results.played[name] = [calls[place] for _, _, calls in found]
    return results


def as_data(results: Results, bound: Any = None) -> dict[str, Any]:
    """Return all figures as plain data, the same for the same run.

    ``first_time_bound``: the share of machines whose true cause leads once every check is done. No
    plan can expect to repair right at the first try much more often.
    """
    kits = by(results.scored, "kit")
    data: dict[str, Any] = {
        "machines": results.machines, "seed": results.seed, "kits": {}, "strategies": {},
    }  # fmt: skip
    for kit in [name for name in KITS if name in kits]:
        rows = kits[kit]
        data["kits"][kit] = {
            **summary(rows),
            "by": {
                name: {value: summary(mine) for value, mine in by(rows, name).items()}
                for name in ("duty", "control", "coil", "known_part")
            },
            "worst_causes": worst_causes(rows),
            "unsafe_words": sorted({words for row in rows for words in row.unsafe})[:20],
        }
        if bound is not None:
            data["kits"][kit]["bound"] = bound[kit]
    if results.played and "all" in kits:
        data["first_time_bound"] = data["kits"]["all"]["first_or_tied"]
    for name, calls in results.played.items():
        middle, low, high = measures.mean_interval([one.minutes for one in calls])
        first = Share(sum(one.first_time for one in calls), len(calls))
        data["strategies"][name] = {
            "minutes": round(middle, 1), "low": round(low, 1), "high": round(high, 1),
            "checks": round(sum(one.checks for one in calls) / len(calls), 1),
            "first_time_fix": first.as_dict(),
        }  # fmt: skip
    return data
