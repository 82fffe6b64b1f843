"""Runs the proving ground: machines shared out to processes, scored and played, then summed up."""

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from engine import Diagnoser
from engine.knowledge import load_knowledge
from tests.proving import bound, measures
from tests.proving.kits import KITS
from tests.proving.roughness import NOT_LISTED, ROUGH, Roughness
from tests.proving.score import Scored, Share, by, not_listed, ranking, score, summary, worst_causes
from tests.proving.simulator import SimulatedMachine, draw_machines
from tests.proving.strategies import (
    Played,
    by_advice,
    by_fixed_order,
    by_likeliest_part,
    repair_alone,
)

STRATEGIES = ("advice", "fixed-order", "likeliest-part", "repair-alone")
GROUPS = ("single", "pair", NOT_LISTED)
CHUNK = 20
Work = Callable[[Callable[[Any], Any], list[Any]], Iterator[Any]]


@dataclass
class Results:
    """Everything that a run found."""

    machines: int
    seeds: tuple[int, ...]
    scored: list[Scored] = field(default_factory=list)
    played: dict[str, list[Played]] = field(default_factory=dict)
    bound: dict[str, Any] = field(default_factory=dict)


_worker: dict[str, Any] = {}


def prove_machines(
    machines: Sequence[SimulatedMachine], kits: Sequence[str], diagnoser: Diagnoser, played: int
) -> list[tuple[list[Scored], list[Played]]]:
    """Score some machines; play those that are among the first ``played`` of their seed."""
    found = []
    for machine in machines:
        scored = [score(machine, kit, diagnoser.diagnose) for kit in kits]
        calls = []
        if machine.number < played:
            calls = [by_advice(machine, diagnoser.diagnose), by_fixed_order(machine),
                     by_likeliest_part(machine), repair_alone(machine)]  # fmt: skip
        found.append((scored, calls))
    return found


def _job(job: tuple[bound.Job, int]) -> Any:
    (start, count, seed, rough, kits), played = job
    if not _worker:
        _worker["diagnoser"] = Diagnoser(load_knowledge())
    machines = draw_machines(count, seed, rough, start)
    return prove_machines(machines, kits, _worker["diagnoser"], played)


@contextmanager
def workers(jobs: int) -> Iterator[Work]:
    """Yield a map over ``jobs`` processes; 1 or less is this process."""
    if jobs <= 1:
        yield map
        return
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # one thread a process: they do not share well
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        yield pool.imap


def prove(  # noqa: PLR0917 - what the command lets one choose
    count: int, seeds: Sequence[int], kits: Sequence[str] = tuple(KITS), jobs: int = 1,
    played: int | None = None, progress: Callable[[int], None] = lambda done: None,
    rough: Roughness = ROUGH, bounds_in: Path | None = None,
) -> Results:  # fmt: skip
    """Draw ``count`` machines of each seed, score and play them in ``jobs`` processes.

    The same seeds, the same results. ``played``: how many of each seed are played, None for all.
    With ``bounds_in``, a folder, the classifier is asked about the same machines; what it learned
    from is kept there.
    """
    results = Results(count * len(seeds), tuple(seeds))
    calls: list[list[Played]] = []
    with workers(jobs) as work:
        pieces = [(start, min(CHUNK, count - start), seed, rough, tuple(kits))
                  for seed in seeds for start in range(0, count, CHUNK)]  # fmt: skip
        most = count if played is None else played
        done = 0
        for part in work(_job, [(piece, most) for piece in pieces]):
            for scored, mine in part:
                results.scored += scored
                calls += [mine] if mine else []
            done += len(part)
            progress(done)
        if bounds_in is not None:
            learned = bound.trained_on(
                rough, kits, bounds_in, lambda todo: list(work(bound.rows, todo))
            )
            asked = bound.joined([
                table for seed in seeds
                for table in work(bound.rows, bound.jobs(count, seed, rough, kits))
            ])  # fmt: skip
            results.bound = {kit: bound.estimate(learned, asked, kit) for kit in kits}
    if calls:
        for place, name in enumerate(STRATEGIES):
            results.played[name] = [one[place] for one in calls]
    return results


def as_data(results: Results) -> dict[str, Any]:
    """Return all figures as plain data, the same for the same run.

    ``first_time_bound``: of the single listed faults, how often the classifier that saw every check
    has it first, or, without the classifier, how often the answer has. No plan can expect to repair
    right at the first try much more often.
    """
    kits = by(results.scored, "kit")
    data: dict[str, Any] = {
        "machines": results.machines, "seeds": list(results.seeds), "kits": {}, "strategies": {},
    }  # fmt: skip
    for kit in [name for name in KITS if name in kits]:
        data["kits"][kit] = _kit(kits[kit], results.bound.get(kit, {}))
    for name, calls in results.played.items():
        data["strategies"][name] = {
            **_calls(calls),
            "groups": {group: _calls([one for one in calls if one.group == group])
                       for group in GROUPS if any(one.group == group for one in calls)},
        }  # fmt: skip
    whole = data["kits"].get("all", {"groups": {}})
    if results.played and "single" in whole["groups"]:
        known = whole.get("bound", {}).get("single")
        single = whole["groups"]["single"]
        data["first_time_bound"] = known["first"] if known else single["first_or_tied"]
    return data


def _kit(rows: Sequence[Scored], limits: dict[str, Any]) -> dict[str, Any]:
    """Return the figures of one kit."""
    found = {
        **summary(rows),
        "groups": {group: summary(mine) for group, mine in by(rows, "group").items()},
        "not_listed": not_listed(rows),
        "by": {
            name: {value: ranking(mine) for value, mine in by(rows, name).items()}
            for name in ("duty", "control", "coil", "known_part", "comes_and_goes", "repaired")
        },
        "worst_causes": worst_causes(rows),
        "unsafe_words": sorted({words for row in rows for words in row.unsafe})[:20],
    }
    return found | ({"bound": limits} if limits else {})


def _calls(calls: Sequence[Played]) -> dict[str, Any]:
    """Return the figures of some calls of one strategy."""
    middle, low, high = measures.mean_interval([one.minutes for one in calls])
    return {
        "minutes": round(middle, 1), "low": round(low, 1), "high": round(high, 1),
        "checks": round(sum(one.checks for one in calls) / len(calls), 1),
        "first_time_fix": Share(sum(one.first_time for one in calls), len(calls)).as_dict(),
    }  # fmt: skip
