"""What a recording tells, and where it says that it cannot."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from engine import Diagnoser
from engine.traces.findings import TraceReport, read_trace
from engine.traces.trace import Floats, Trace
from engine.traces.winding import Motion, rise

RATE = 5000.0
START, PULL = 0.3, 0.7  # s
SEATED = 0.08


def amperes(moves: bool = True, rate: float = RATE, length: float = 1.6) -> Floats:
    """Return 30 A with a kick that a diode clamps, and 50 mA of noise."""
    at = np.arange(0, length, 1 / rate)
    seconds = np.clip(at - START, 0, None)
    motion = Motion(0.02, SEATED, 3.0, 2.5)
    tau = 0.008 * motion.grown(seconds) if moves else 0.008
    on = np.where((at >= START) & (at < START + PULL), 1.0, 0.0)
    current = 30 * rise(at, on, tau)
    return np.asarray(current + np.random.default_rng(1).normal(0, 0.05, len(at)))


def volts(rate: float = RATE, length: float = 1.6, kick: float = -0.8) -> Floats:
    """Return 11 V while the contact is closed, and the kick after it."""
    at = np.arange(0, length, 1 / rate)
    found = np.where((at >= START) & (at < START + PULL), 11.0, 0.0)
    found[(at >= START + PULL) & (at < START + PULL + 0.004)] = kick
    return np.asarray(found + np.random.default_rng(2).normal(0, 0.02, len(at)))


def report(rate: float = RATE, cranking: bool = False, **channels: Floats) -> TraceReport:
    """Return what made channels tell."""
    kept = {
        name.replace("_", "-"): np.asarray(one, "f4").tobytes() for name, one in channels.items()
    }
    return _read(rate, cranking, tuple(kept.items()))


@cache
def _read(rate: float, cranking: bool, channels: tuple[tuple[str, bytes], ...]) -> TraceReport:
    """Read a recording, the same one once."""
    return read_trace(
        Trace(1 / rate, {name: np.frombuffer(one, "f4") for name, one in channels}, {}), cranking
    )


def value(found: TraceReport, check: str) -> float:
    """Return the reading for a check."""
    return next(one.value for one in found.findings if one.check == check)


def figure(found: TraceReport, name: str) -> float | str:
    """Return a figure of the report."""
    return next(one.value for one in found.figures if one.id == name)


def refused(found: TraceReport) -> set[str]:
    """Return what was refused."""
    return {one.about for one in found.refusals}


def test_a_whole_pull_is_read() -> None:
    """Current, length, ohms and seat of a made pull come back."""
    found = report(pull_current=amperes(), pull_volts=volts())
    assert value(found, "pull-current") == pytest.approx(30, rel=0.01)
    assert value(found, "pull-pulse-seconds") == pytest.approx(PULL, abs=0.001)
    assert value(found, "pull-pin-voltage") == pytest.approx(11, abs=0.05)
    assert figure(found, "pull_path_ohms") == pytest.approx(11 / 30, rel=0.02)
    assert figure(found, "plunger") == "seated"
    assert figure(found, "seat_seconds") == pytest.approx(SEATED, abs=0.002)
    assert (figure(found, "kick"), figure(found, "bounces")) == ("cannot-tell", 0.0)


@pytest.mark.parametrize(
    ("moves", "tau", "word"), [(True, 0.02, "seated"), (False, 0.008, "not-seated")]
)
def test_the_flux_that_is_left_tells_where_the_plunger_is(
    moves: bool, tau: float, word: str
) -> None:
    """L as the pull ends, from what R i burns then: that of the stop, or of the open gap."""
    found = report(pull_current=amperes(moves), pull_volts=volts())
    assert figure(found, "end_henry") == pytest.approx(tau * 11 / 30, rel=0.06)
    assert figure(found, "plunger_end") == word


def test_a_kick_out_of_range_leaves_the_end_open() -> None:
    """Who knows how far it went knows the flux; a recorder that ran out of range does not."""
    found = report(pull_current=amperes(), pull_volts=volts(kick=-40))
    assert "plunger_end" not in {one.id for one in found.figures}


def test_current_alone_gives_the_length_too() -> None:
    """Without volts the pull ends where the current begins to fall."""
    found = report(pull_current=amperes())
    assert value(found, "pull-pulse-seconds") == pytest.approx(PULL, abs=0.002)


def test_a_clamp_put_on_the_other_way_reads_the_same() -> None:
    """Amperes come out above zero."""
    assert value(report(pull_current=-amperes()), "pull-current") == pytest.approx(30, rel=0.01)


def test_a_finding_is_what_a_diagnosis_takes(diagnoser: Diagnoser) -> None:
    """Every finding passes the gate of the request, its uncertainty as a meter's."""
    found = report(pull_current=amperes(), pull_volts=volts())
    findings = [one.request(diagnoser.knowledge) for one in found.findings]
    machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
    answer = diagnoser.diagnose({"machine": machine, "findings": findings})
    assert answer["causes"]
    assert {one["check"] for one in findings} == {
        "pull-current", "pull-pulse-seconds", "pull-pin-voltage", "plunger-recorded",
        "contact-recorded",
    }  # fmt: skip


def test_a_kick_is_told_by_how_far_it_goes() -> None:
    """Sixty volts below zero at 5000 samples a second is not clamped; one volt at 50000 is."""
    assert figure(report(pull_volts=volts(kick=-60)), "kick") == "not-clamped"
    assert figure(report(50000, pull_volts=volts(50000)), "kick") == "clamped"


def test_a_bouncing_contact_is_counted() -> None:
    """Two breaks of a millisecond after the first touch."""
    pin = volts()
    start = round(START * RATE)
    pin[start + 5 : start + 10] = pin[start + 15 : start + 20] = 0
    found = report(pull_volts=pin)
    assert figure(found, "bounces") == 2
    assert value(found, "pull-pulse-seconds") == pytest.approx(PULL, abs=0.001)


def test_the_relay_takes_its_time() -> None:
    """From the coil's volts to the pin's."""
    at = np.arange(0, 1.6, 1 / RATE)
    coil = np.where((at > START - 0.012) & (at < START + PULL), 12.0, 0.0)
    found = report(pull_volts=volts(), relay_volts=coil + volts() * 1e-3)
    assert figure(found, "relay_delay_seconds") == pytest.approx(0.012, abs=0.001)


@pytest.mark.parametrize(("hertz", "duty"), [(100.0, 0.4), (250.0, 0.25)])
def test_a_chopped_hold_is_told_with_frequency_and_duty(hertz: float, duty: float) -> None:
    """The finding is the average, what a meter would show."""
    at = np.arange(0, 3, 1 / RATE)
    hold = np.where((at > START) & ((at * hertz) % 1 < duty), 1.5, 0.0)
    found = report(pull_volts=volts(length=3), hold_current=hold)
    assert value(found, "hold-current") == pytest.approx(1.5 * duty, rel=0.03)
    assert figure(found, "hold_current_drive") == "chopped"
    assert figure(found, "hold_current_hertz") == pytest.approx(hertz, rel=0.02)
    assert figure(found, "hold_current_duty") == pytest.approx(duty, abs=0.03)


def test_a_steady_hold_is_steady() -> None:
    """0.62 A, no chopping."""
    hold = np.where(np.arange(0, 3, 1 / RATE) > START, 0.62, 0.0)
    found = report(pull_volts=volts(length=3), hold_current=hold)
    assert value(found, "hold-current") == pytest.approx(0.62, abs=0.005)
    assert figure(found, "hold_current_drive") == "steady"


def test_what_the_clamp_showed_before_is_no_hold() -> None:
    """A clamp that is three tenths of an amp off its zero reads the hold none the less."""
    hold = np.where(np.arange(0, 3, 1 / RATE) > START, 0.92, 0.3)
    found = report(pull_volts=volts(length=3), hold_current=hold)
    assert value(found, "hold-current") == pytest.approx(0.62, abs=0.005)


def test_no_hold_at_all_is_a_reading_of_zero(diagnoser: Diagnoser) -> None:
    """Noise alone is 0 A, as near as a fine clamp's zero; it is neither steady nor chopped."""
    hold = np.random.default_rng(5).normal(0.0003, 0.03, 3 * int(RATE))
    found = report(pull_volts=volts(length=3), hold_current=hold)
    told = next(one for one in found.findings if one.check == "hold-current")
    taken = told.request(diagnoser.knowledge)
    assert (taken["value"], taken["meter"]["resolution"]) == (0.0, 0.05)
    assert figure(found, "hold_current_drive") == "none"
    assert "hold-recorded" not in {one.check for one in found.findings}


def test_a_hold_that_ends_with_the_pull_is_refused() -> None:
    """The command may have been taken off: nothing is said of the hold."""
    on = np.abs(np.arange(0, 3, 1 / RATE) - START - PULL / 2) < PULL / 2
    found = report(pull_volts=volts(length=3), hold_current=np.where(on, 0.62, 0.0))
    assert "hold-current" in refused(found)


def test_the_battery_counts_as_cranking_only_where_it_is_said() -> None:
    """The sag is a figure; the check's finding needs the starter to have turned."""
    at = np.arange(0, 1.6, 1 / RATE)
    battery = np.where((at >= START) & (at < START + PULL), 10.4, 12.4)
    told = report(cranking=True, pull_volts=volts(), battery_volts=battery)
    assert value(told, "battery-voltage-crank") == pytest.approx(10.4, abs=0.05)
    assert figure(told, "sag_volts") == pytest.approx(2.0, abs=0.05)
    silent = report(pull_volts=volts(), battery_volts=battery)
    assert "battery-voltage-crank" not in {one.check for one in silent.findings}


def test_a_pull_that_stays_on_is_read_after_five_seconds() -> None:
    """Its length is refused; what is left at the pin is the finding."""
    at = np.arange(0, 6.5, 1 / RATE)
    found = report(pull_volts=np.where(at > START, 11.0, 0.0) + volts(length=6.5) * 0.001)
    assert value(found, "pull-pin-voltage-after") == pytest.approx(11, abs=0.1)
    assert "pull-pulse-seconds" in refused(found)


def coupled(current: Floats) -> Floats:
    """Return what a clamp for alternating current makes of it."""
    from scipy.signal import lfilter

    keep = np.exp(-1 / (0.3 * RATE))
    return np.asarray(lfilter([keep, -keep], [1, -keep], current))


SPOILERS: dict[str, tuple[Callable[[Floats], Floats], str]] = {
    "clipped": (lambda one: np.minimum(one, 18.0), "cut off"),
    "alternating": (coupled, "direct current"),
    "hum": (lambda one: one + 9 * np.sin(np.arange(len(one)) / RATE * 314.159), "hum"),
    "late": (lambda one: one[round(0.5 * RATE) :], "on where the recording begins"),
    "silent": (lambda one: one * 0 + np.random.default_rng(1).normal(0, 1, len(one)), "stands out"),
}


@pytest.mark.parametrize("name", list(SPOILERS))
def test_a_spoiled_recording_is_refused_in_words(name: str) -> None:
    """No finding of the channel, a reason and what to do instead."""
    spoil, words = SPOILERS[name]
    found = report(pull_current=spoil(amperes()))
    refusal = next(one for one in found.refusals if one.about == "pull-current")
    assert words in refusal.because
    assert refusal.instead
    assert not [one for one in found.findings if one.check == "pull-current"]


def test_a_whole_pull_is_spoiled_by_nothing() -> None:
    """None of the refusals above comes of a sound recording."""
    assert "pull-current" not in refused(report(pull_current=amperes(), pull_volts=volts()))


def test_swapped_columns_are_refused() -> None:
    """A current that jumps beside volts that creep."""
    found = report(pull_current=volts(), pull_volts=amperes())
    assert {"pull-current", "pull-volts"} <= refused(found)
    assert not found.findings


def test_a_gap_in_the_pull_is_refused() -> None:
    """Samples that are missing may hide the notch."""
    current = amperes()
    kept = np.delete(current, slice(2000, 2200)).astype("f4")
    found = read_trace(Trace(1 / RATE, {"pull-current": kept}, {}, gaps=((2000, 200 / RATE),)))
    assert "missing" in next(one for one in found.refusals if one.about == "pull-current").because


def test_a_hundred_samples_a_second_tell_no_plunger() -> None:
    """Current and length still come; of the plunger nothing is said."""
    found = report(100, pull_current=amperes(rate=100))
    assert figure(found, "plunger") == "cannot-tell"
    assert "plunger" in refused(found)
