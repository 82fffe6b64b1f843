"""What readings and answers are expected: instruments, scales, densities, bands, bins."""

import dataclasses
import math
from collections.abc import Callable
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.diagnosis import Diagnoser
from engine.knowledge import Knowledge
from engine.physics.band import Band, open_band
from engine.physics.conditions import MeasurementConditions
from engine.physics.machine import Machine, Variant
from engine.physics.model import Model
from engine.physics.prediction import (
    FLAT_SHARE,
    OPEN_SURE,
    SCALES,
    Instrument,
    Loadings,
    OutcomePrediction,
    ReadingPrediction,
    instrument_from,
)
from tests.physics.support import FAULTY, GOOD, fault, part, predicted

Make = Callable[..., Variant]
METER = Instrument(percent=0.5, counts=2, resolution=0.01)


def reading(mu: list[float], unit: str = "V", high: float = 60.0) -> ReadingPrediction:
    """Return a made-up prediction with the same tolerance under every hypothesis."""
    means = np.array(mu)
    return ReadingPrediction(
        unit=unit, low=-2.0 if unit == "V" else 0.0, high=high, instrument=METER,
        repeatability=0.1, mu=means,
        loadings=Loadings((), np.zeros((len(mu), 0), np.float32), np.full(len(mu), 0.04)),
        flat=np.zeros(len(mu), dtype=bool),
    )  # fmt: skip


@pytest.fixture(scope="module")
def model(diagnoser: Diagnoser) -> Model:
    """Give the model of a timed fuel shut-off with a case-ground coil."""
    return diagnoser.models.get(Machine("fuel-shutoff", "ignition-timed", "case-ground"))


def test_accuracy_of_a_meter() -> None:
    """0.4 ohm on a 200.0 ohm range, 0.5 % + 2 x 0.1, has u 0.1166 ohm (JCGM 100, 4.3.7)."""
    meter = Instrument(percent=0.5, counts=2, resolution=0.1)
    assert math.sqrt(float(meter.variance(np.array([0.4]))[0])) == pytest.approx(0.1166, abs=5e-5)


def test_leads_that_nobody_zeroed_widen_an_ohmmeter() -> None:
    """Leads between nothing and 0.5 ohm are a rectangle: u is 0.5 over root twelve."""
    row = {"percent": 0.0, "counts": 0.0, "resolution": 0.1, "lead_ohms_high": 0.5}
    meter = instrument_from(row)
    found = math.sqrt(float(meter.variance(np.array([1.0]))[0]))
    assert found == pytest.approx(0.5 / math.sqrt(12))


@given(value=st.floats(0, 1e7), unit=st.sampled_from(sorted(SCALES)))
def test_a_scale_and_back(value: float, unit: str) -> None:
    """Every scale leads back to the value it came from."""
    scale = SCALES[unit]
    assert float(scale.back(scale.of(value))) == pytest.approx(value, rel=1e-9, abs=1e-12)


@given(value=st.floats(0.001, 1e4), unit=st.sampled_from(sorted(SCALES)))
def test_the_slope_of_a_scale(value: float, unit: str) -> None:
    """The stated slope is what a small step does; ohms far above the foot are logarithmic."""
    scale, step = SCALES[unit], 1e-6 * value
    slope = (float(scale.of(value + step)) - float(scale.of(value - step))) / (2 * step)
    assert float(scale.slope(np.array([value]))[0]) == pytest.approx(slope, rel=1e-5)
    if unit == "ohm" and value > 30:
        assert slope * value == pytest.approx(1.0, rel=1e-4)


def test_one_wild_reading_cannot_veto_the_truth() -> None:
    """Far from everything expected the density is the flat share over the range, and not zero."""
    prediction = reading([12.0])
    assert float(prediction.density(50.0)[0]) == pytest.approx(FLAT_SHARE / 62.0)


def test_a_band_holds_nine_in_ten() -> None:
    """The band of one hypothesis runs from 5 to 95 % of its normal law, as rounded."""
    prediction = reading([0.5, 3.0])
    normal = NormalDist(0.5, float(prediction.sigma()[0]))
    low, high = normal.inv_cdf(0.05), normal.inv_cdf(0.95)
    band = prediction.band(np.array([1.0, 0.0]))
    assert band == Band(round(low, 2) if low > 0 else 0.0, round(high, 1 + (high < 1)), "V")
    with pytest.raises(ValueError, match="no hypothesis carries weight"):
        prediction.band(np.zeros(2))


def test_good_machines_of_two_kinds_make_one_band() -> None:
    """The band that is judged by holds 95.45 % of the mixture of healthy machines, their
    own spread only: 0.1 V of repeatability and 0.2 V of tolerance."""
    from scipy.optimize import brentq  # slow to load

    spread = math.hypot(0.1, 0.2)
    band = reading([11.0, 12.0]).good_band(np.array([0.5, 0.5]))
    assert band is not None
    for limit, share in ((band.low, NormalDist().cdf(-2)), (band.high, NormalDist().cdf(2))):

        def excess(value: float, share: float = share) -> float:
            mixed = sum(NormalDist(one, spread).cdf(value) for one in (11.0, 12.0)) / 2
            return mixed - share

        assert limit == pytest.approx(brentq(excess, 5.0, 20.0), abs=0.06)
    assert band.doubt is None


def test_good_machines_far_apart_are_in_doubt() -> None:
    """Where one kind reads 1 V and another 12 V, what lies between is not good."""
    band = reading([1.0, 12.0]).good_band(np.array([0.5, 0.5]))
    assert band is not None
    assert band.doubt == "machine"


def test_over_range_counts_as_more_than_any_number() -> None:
    """Where half of the good machines read over range, the band has no upper limit; all: open."""
    prediction = reading([1e9, 1000.0], "ohm", 2e7)
    band = prediction.good_band(np.array([0.5, 0.5]))
    assert band is not None
    assert (band.high, band.open) == (None, False)
    assert band.holds(5e5)
    assert not band.holds(1.0)
    assert prediction.good_band(np.array([1.0, 0.0])) == open_band("ohm")


def test_an_open_circuit_shows_over_range() -> None:
    """An open winding shows as over range nearly always; its band is the word open."""
    prediction = reading([1e9, 5.0], "ohm", 2e7)
    assert prediction.open.tolist() == [True, False]
    assert prediction.open_share().tolist() == [OPEN_SURE, 0.01]
    assert prediction.band(np.array([1.0, 0.0])) == open_band("ohm")
    assert float(prediction.density(5.0)[0]) < 0.01 * float(prediction.density(5.0)[1])


def test_every_shipped_check_is_predicted(model: Model) -> None:
    """Every check of a machine has bins that sum to 1 under every hypothesis, none negative."""
    for name, prediction in model.predictions.items():
        assert prediction.bins.shape[0] == len(model.hypotheses), name
        assert prediction.bins.min() >= 0, name
        assert np.abs(prediction.bins.sum(axis=1) - 1).max() < 1e-9, name


def test_every_answer_can_be_wrong(model: Model) -> None:
    """No answer of a person is impossible: the slip leaves each a chance under every cause."""
    for name, prediction in model.predictions.items():
        if isinstance(prediction, OutcomePrediction):
            assert prediction.shares.min() > 0.001, name


def test_severities_leave_no_gap_in_a_reading(model: Model) -> None:
    """From 0.1 to 10 ohm of bad ground every reading between is expected about as much as its
    neighbours: no dip between two severities that would orphan it."""
    prediction = model.predictions["ground-path-ohms"]
    assert isinstance(prediction, ReadingPrediction)
    mine = model.cause_of == model.causes.index("ground-resistive")
    weights = np.where(mine, model.prior, 0.0) / model.prior[mine].sum()
    sharp = Instrument(percent=0.05, counts=1, resolution=0.001, lead_u=0.0)
    readings = np.geomspace(0.3, 10.0, 400)
    # per step of the logarithm of ohms, which is how the severities are spread
    slopes = prediction.scale.slope(readings) * readings
    level = slopes * [float(prediction.density(y, sharp) @ weights) for y in readings]
    assert level.min() / level.max() > 0.8


def test_a_worse_fault_reads_further_off(knowledge: Knowledge, variant: Make) -> None:
    """More ohms in the ground lift the ground side further and let less pull current through."""
    volts, amperes = [], []
    for ohms in (0.0, 0.1, 0.3, 1.0, 10.0):
        found = predicted(knowledge, variant("timed"), fault(part("ground", "add_ohms", ohms)))
        volts.append(found.predictions["ground-side-voltage"].mu[FAULTY])
        amperes.append(found.predictions["pull-current"].mu[FAULTY])
    assert volts == sorted(volts)
    assert amperes == sorted(amperes, reverse=True)


@pytest.mark.parametrize("coil", ["case-ground", "body-ground"])
def test_ohms_of_a_good_part(coil: str, knowledge: Knowledge, variant: Make) -> None:
    """A good part reads its 0.4 and 23.9 ohm from pin to ground, the sum from pin to pin, and its
    harness pins read open to ground on a fuel shut-off with a controller."""
    machine = variant("crank", coil, pull_ohms=0.4, hold_ohms=23.9)
    found = predicted(knowledge, machine, fault()).predictions
    pull, hold = found["pull-winding-ohms"].mu[GOOD], found["hold-winding-ohms"].mu[GOOD]
    assert pull == pytest.approx(0.4, abs=0.02)
    assert hold == pytest.approx(23.9, abs=0.1)
    assert found["pull-to-hold-ohms"].mu[GOOD] == pytest.approx(24.3, abs=0.1)
    assert found["harness-pull-to-ground-ohms"].open[GOOD]


def test_the_third_pin_of_a_body_ground_part_leads_nowhere(
    knowledge: Knowledge, variant: Make, diagnoser: Diagnoser
) -> None:
    """From pull pin to the plug's ground pin a body-ground part says nothing of its winding; a
    case-ground part says the same as measured to the body's joint (common practice, no source)."""
    asked = MeasurementConditions("pull-winding-ohms", measured_to="ground-pin")
    body, case = (
        diagnoser.models.get(Machine("fuel-shutoff", "ignition-timed", coil, pull_ohms=0.4))
        for coil in ("body-ground", "case-ground")
    )
    there = case.prediction(asked)
    assert isinstance(there, ReadingPrediction)
    assert there.mu[0] == pytest.approx(0.4, abs=0.02)
    nowhere = body.prediction(asked)
    good = nowhere.bins[0]
    burned = int(np.flatnonzero(body.cause_of == body.causes.index("pull-winding-open"))[0])
    assert nowhere.bins[burned] == pytest.approx(good, abs=1e-6)


def test_how_long_the_pull_pin_is_live(knowledge: Knowledge, variant: Make) -> None:
    """A good pulse is under two seconds, a dead timer gives none. A welded contact runs on till
    somebody takes the command off: past three seconds as the check has it, a minute at most."""
    machine = variant("timed")
    welded = predicted(knowledge, machine, fault(part("relay-contact", "closed")))
    dead = predicted(knowledge, machine, fault(part("timer", "never")))
    seconds = welded.predictions["pull-pulse-seconds"].mu
    assert 0.3 < seconds[GOOD] < 2.0
    prediction = welded.predictions["pull-pulse-seconds"]
    three, minute = (prediction.density(one)[FAULTY] for one in (3.0, 60.0))
    assert seconds[FAULTY] > 3.0
    assert min(three, minute) > 0.02 * prediction.peak()[FAULTY]
    assert dead.predictions["pull-pulse-seconds"].mu[FAULTY] == 0.0


def test_unknown_coil_weighs_both_styles(diagnoser: Diagnoser) -> None:
    """With the coil style unknown both stand side by side, each as likely as the other."""
    model = diagnoser.models.get(Machine("fuel-shutoff", "ignition-timed", "unknown"))
    assert [one.coil for one in model.variants] == ["case-ground", "body-ground"]
    halves = [model.prior[model.variant_of == place].sum() for place in (0, 1)]
    assert halves == pytest.approx([0.5, 0.5])


def test_a_check_of_one_variant_says_nothing_in_the_other(diagnoser: Diagnoser) -> None:
    """With the control unknown, a check that only controllers have leaves the timed type alone."""
    model = diagnoser.models.get(Machine("fuel-shutoff", "unknown", "body-ground"))
    prediction = model.predictions["crank-signal-voltage"]
    assert isinstance(prediction, ReadingPrediction)
    timed = next(n for n, one in enumerate(model.variants)
                 if one.circuit.control == "ignition-timed")  # fmt: skip
    mine = model.variant_of == timed
    assert prediction.flat[mine].all()
    assert not prediction.flat[~mine].any()
    assert np.ptp(prediction.density(10.0)[mine]) == 0.0


def test_a_good_battery_gives_less_in_the_cold(diagnoser: Diagnoser) -> None:
    """8.7 V while cranking is good at -18 C and low at 21 C (battery makers' load test: 9.6 V at
    21 C, 8.5 V at -18 C, from memory)."""
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    reading = {"check": "battery-voltage-crank", "value": 8.7, "unit": "V"}
    lows = []
    for celsius in (21, -18):
        request = {"machine": {**machine, "ambient_celsius": celsius}, "findings": [reading]}
        bands = [row["expected_if_healthy"] for cause in diagnoser.diagnose(request)["causes"]
                 for row in cause["evidence"]]  # fmt: skip
        lows.append(float(bands[0].split(" to ")[0]))
    assert lows[1] < 8.7 < lows[0]


@pytest.mark.filterwarnings("error")
def test_what_never_comes_is_timed_as_nought() -> None:
    """Where no pulse is seen, nothing is started and stopped: good is 0 s, and nothing above."""
    never = dataclasses.replace(
        reading([0.0, 0.0], unit="s"), loadings=Loadings((), np.zeros((2, 0)), np.zeros(2))
    )
    assert never.good_band(np.array([0.5, 0.5])) == Band(0.0, 0.0, "s")
