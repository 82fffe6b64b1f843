"""Recordings against the meter readings they replace, on machines of the laboratory.

``python -m tests.traces.lab COUNT SEED`` draws machines (``tests/proving``, with circuit equations
of their own). Each is diagnosed twice from its complaint and the pull: once as a person with meters
reads it, once with what a recording of it tells in the place of those readings. The laboratory has
no contact that bounces and no kick, so nothing that the drawn recording says of them counts.
"""

import sys
from typing import Any

import numpy as np

from api.recordings.invented import InventedPull, recorded
from engine.diagnosis import shipped
from engine.traces.findings import read_trace
from tests.proving.kits import request
from tests.proving.simulator import Reading, SimulatedMachine, draw_machines
from tests.traces.score import told

CHECKS = (
    "pull-current", "pull-pulse-seconds", "pull-pin-voltage", "pull-pin-voltage-after",
    "hold-current",
)  # fmt: skip
STAYS_ON = 100.0  # s: longer than any recording
NOT_DRAWN = frozenset({"contact-recorded", "kick-recorded"})
CHOPPED_HERTZ, CHOPPED_DUTY = 180.0, 0.4


def recording(machine: SimulatedMachine, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Return what a recording of a machine's pull tells, as findings."""
    story = machine.story

    def true(check: str) -> float:
        return Reading(story, check, rng, rng, again=True)._value()

    amperes, volts, seconds, after, hold = (
        true(check) for check in
        ("pull-current", "pull-pin-voltage", "pull-pulse-seconds", "pull-pin-voltage-after",
         "hold-current")
    )  # fmt: skip
    stays = after > 3.0 * story.specimen.ratio
    pull = InventedPull(
        volts, amperes, STAYS_ON if stays else seconds, after, hold,
        story.specimen.limits["travel_seconds"] if story.conduct.pulls else None,
    )  # fmt: skip
    if seconds <= 0 or volts < 0.5:
        return []
    trace = recorded(pull, rng)
    if story.specimen.chops:
        at = np.arange(trace.size) * trace.step
        on = (at * CHOPPED_HERTZ) % 1 < CHOPPED_DUTY
        trace.channels["hold-current"][:] *= on.astype(np.float32) / np.float32(CHOPPED_DUTY)
    found = read_trace(trace).findings
    return [one.request(shipped().knowledge) for one in found if one.check not in NOT_DRAWN]


def place(machine: SimulatedMachine, found: list[dict[str, Any]]) -> int:
    """Return which place a true cause has among the causes, 1 the first."""
    answer = shipped().diagnose(request(machine, found))
    ids = [one["id"] for one in answer["causes"]]
    return min((ids.index(one) + 1 for one in machine.causes if one in ids), default=len(ids) + 1)


def compare(count: int, seed: int) -> str:
    """Return how often the true cause came first, and in the first three, either way."""
    places = []
    for machine in draw_machines(count, seed):
        machine.begin()
        first = machine.ask(machine.complaint)
        meter = [machine.ask(check) for check in CHECKS if machine.can(check)]
        told = recording(machine, np.random.default_rng([seed, machine.number]))
        known = {one["check"] for one in told}
        kept = [one for one in meter if one["check"] not in known]
        places.append((place(machine, [first, *meter]), place(machine, [first, *kept, *told])))
    rows = ["| | true cause first | in the first three |", "|---|---|---|"]
    for column, name in enumerate(("meter readings", "a recording in their place")):
        mine = [one[column] for one in places]
        rows.append(f"| {name} | {_within(mine, 1)} | {_within(mine, 3)} |")
    better = sum(two == 1 and one > 1 for one, two in places)
    worse = sum(one == 1 and two > 1 for one, two in places)
    return "\n".join(
        [*rows, f"first by the recording alone: {better}; by the meter alone: {worse}"]
    )


def _within(places: list[int], most: int) -> str:
    return told(sum(one <= most for one in places), len(places))


if __name__ == "__main__":
    print(compare(int(sys.argv[1]), int(sys.argv[2])))
