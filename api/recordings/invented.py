"""Invented recordings, which nobody took: the circuit is solved with a cause in it.

The winding's transient model (``engine.traces.winding``) then draws what a recorder would have
shown, with noise.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from api.answers.demos import loaded
from api.strict_json import Json
from engine import Diagnoser
from engine.physics.machine import Machine
from engine.physics.model import Model
from engine.physics.prediction import ReadingPrediction
from engine.traces.trace import Floats, Trace
from engine.traces.winding import Motion, rise

DEFAULT = "pull-trace"
RATE = 5000.0  # samples a second
BEFORE, LENGTH = 0.3, 7.0  # s: of rest before the command, and in all
OPEN_HENRY, GROWS, POWER = 0.0027, 2.5, 3.0  # of a 12 V pull winding, from memory; judgement
AMPERES_NOISE, VOLTS_NOISE = 0.15, 0.03
CLAMPED_SECONDS = 0.004  # that the kick lasts at a diode's volt


@dataclass(frozen=True)
class InventedPull:
    """What a pull was: volts at the pin and amperes while it lasts, seconds, what comes after.

    ``seats`` is when the plunger reaches its stop, in seconds from the contact; None: it stays.
    """

    volts: float
    amperes: float
    seconds: float
    volts_after: float
    hold_amperes: float
    seats: float | None


@dataclass(frozen=True)
class InventedRecording:
    """One of the recordings that come with the package: its story, and what it is made from.

    ``machine`` is a request's, ``state`` a cause with its state; ``seed`` is the noise's.
    """

    id: str
    title: str
    story: str
    machine: Json
    state: str
    seed: int


def load_all() -> list[InventedRecording]:
    """Return the invented recordings, the default one first, the others by id."""
    return loaded("api.recordings", InventedRecording, DEFAULT)


def invent(diagnoser: Diagnoser, one: InventedRecording) -> Trace:
    """Return a recording, made anew from the circuit. Raises KeyError for an unknown state."""
    model = diagnoser.models.get(Machine(**one.machine))
    return recorded(pull_of(model, one.state), np.random.default_rng(one.seed))


def pull_of(model: Model, state: str) -> InventedPull:
    """Return the pull of a machine with a cause in a state, at its middle severity."""
    cause, _, name = state.partition("/")
    rows = [
        n for n, one in enumerate(model.hypotheses)
        if one.cause == cause and one.state == name and not one.fuse_opened
    ]  # fmt: skip
    if not rows:
        raise KeyError(state)
    row = rows[len(rows) // 2]

    def reads(check: str) -> float:
        prediction = model.predictions[check]
        assert isinstance(prediction, ReadingPrediction)
        return float(prediction.mu[row])

    travel = model.variants[0].circuit.plunger.travel_seconds
    events: Mapping[str, Floats] = model.built[0].events
    pull = InventedPull(
        reads("pull-pin-voltage"), reads("pull-current"), reads("pull-pulse-seconds"),
        reads("pull-pin-voltage-after"), reads("hold-current"),
        travel if events["pull-is-strong"][row] * events["plunger-moves"][row] > 0.5 else None,
    )  # fmt: skip
    return pull


def recorded(pull: InventedPull, rng: np.random.Generator, rate: float = RATE) -> Trace:
    """Return what a recorder makes of a pull: its current, its pin's volts, and the hold."""
    at = np.arange(0.0, LENGTH, 1 / rate)
    since, end = at - BEFORE, BEFORE + pull.seconds
    on = (since >= 0) & (at < end)
    ohms = pull.volts / max(pull.amperes, 1e-3)
    tau = np.full_like(at, min(OPEN_HENRY / ohms, 0.1))
    if pull.seats is not None:
        tau *= Motion(0.02, pull.seats, POWER, GROWS).grown(np.minimum(since, pull.seconds))
    current = pull.amperes * rise(at, on.astype(np.float64), tau)
    volts = np.where(on, pull.volts, np.where(since >= 0, pull.volts_after, 0.0))
    volts[(at >= end) & (at < end + CLAMPED_SECONDS) & (pull.volts_after < 1)] = -0.8
    hold = np.where(since >= 0, pull.hold_amperes, 0.0)
    channels = {
        "pull-current": current + rng.normal(0, AMPERES_NOISE, len(at)),
        "pull-volts": volts + rng.normal(0, VOLTS_NOISE, len(at)),
        "hold-current": hold + rng.normal(0, VOLTS_NOISE, len(at)),
    }
    return Trace(1 / rate, {role: one.astype(np.float32) for role, one in channels.items()}, {})
