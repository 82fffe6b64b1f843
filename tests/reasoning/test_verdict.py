"""The verdict on a reading and the printed healthy band come from one number."""

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.diagnosis import shipped
from engine.physics.machine import Machine
from engine.physics.prediction import ReadingPrediction
from engine.reasoning.observe import Observation, observe
from engine.reasoning.request import read_request
from tests.sweeps import SLOW

CONTROLS = {
    "fuel-shutoff": ("ignition-timed", "controller-on-crank", "unknown"),
    "brake-release": ("ignition-timed", "controller-on-request", "unknown"),
}
COILS = ("body-ground", "case-ground", "unknown")
METERS = st.sampled_from([
    None, {"percent": 0.5, "counts": 2, "resolution": 0.001},
    {"percent": 8.0, "counts": 5, "resolution": 0.1},
])  # fmt: skip


@st.composite
def machines(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a machine of any kind, unknown control and coil included."""
    duty = draw(st.sampled_from(sorted(CONTROLS)))
    coil = draw(st.sampled_from(COILS))
    volts = draw(st.sampled_from((12, 24))) if SLOW else 24 if coil == "case-ground" else 12
    return {
        "duty": duty, "control": draw(st.sampled_from(CONTROLS[duty])),
        "coil": coil, "system_volts": volts,
    }  # fmt: skip


@st.composite
def readings(draw: st.DrawFn) -> Observation:
    """Draw a reading near the limits of what good machines show, or anywhere."""
    machine = draw(machines())
    diagnoser = shipped()
    model = diagnoser.models.get(Machine(**machine))
    names = [n for n, one in model.predictions.items() if isinstance(one, ReadingPrediction)]
    check = draw(st.sampled_from(names))
    prediction = model.predictions[check]
    assert isinstance(prediction, ReadingPrediction)
    mark = draw(st.sampled_from([*prediction.mu[:40].tolist(), prediction.low]))
    low = 0.0 if prediction.unit in ("ohm", "s") else prediction.low
    value = min(max(mark * draw(st.floats(0.5, 1.5)), low), prediction.high)
    finding: dict[str, Any] = {"check": check, "value": round(value, 3), "unit": prediction.unit}
    meter = draw(METERS)
    if meter is not None:
        finding["meter"] = meter
    request = read_request({"machine": machine, "findings": [finding]}, diagnoser.knowledge)
    return observe(model, request.findings[0])


def printed(words: str) -> tuple[float, float] | None:
    """Return the limits that a band's words say; None for over range."""
    numbers = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", words)]
    if not numbers:
        return None
    return numbers[0], float("inf") if "or more" in words else numbers[-1]


@given(reading=readings())
def test_good_is_exactly_what_lies_inside_the_printed_healthy_band(reading: Observation) -> None:
    """On every machine a reading is good if and only if it lies inside the band as printed, which
    says so where no reading can be told to be good: then a reading inside is cannot-say."""
    assert reading.value is not None
    assert reading.healthy is not None
    limits = printed(reading.healthy.words)
    inside = limits is not None and limits[0] <= reading.value <= limits[1]
    assert (reading.verdict == "good") == (inside and reading.healthy.doubt is None)
    assert (reading.verdict in ("low", "high")) <= (not inside)
    assert ("(" in reading.healthy.words and limits is not None) == (
        reading.healthy.doubt is not None
    )


@pytest.mark.parametrize("coil", COILS)
def test_a_machine_of_unknown_control_is_judged_by_all_good_machines(coil: str) -> None:
    """11.2 V at the pull pin of a brake release of unknown control is what an ignition-timed one
    in good order shows: good, and the answer's healthy band holds it."""
    answer = shipped().diagnose({
        "machine": {"duty": "brake-release", "control": "unknown", "coil": coil},
        "findings": [{"check": "pull-pin-voltage", "value": 11.2, "unit": "V"}],
        "on_hand": [],
    })  # fmt: skip
    shown = [one for cause in answer["causes"] for one in cause["evidence"]]
    assert shown
    assert {one["verdict"] for one in shown} == {"good"}
    limits = printed(shown[0]["expected_if_healthy"])
    assert limits is not None
    assert limits[0] <= 11.2 <= limits[1]
