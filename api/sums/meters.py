"""Sums about a meter: which pin is which by three readings, and what one reading is worth."""

from dataclasses import dataclass

from api.answers.text import sureness
from api.sums.entries import celsius, choice, needed, ohms_or_open, quantity, refuse
from api.sums.model import Figure, Worked, shown
from engine import Knowledge
from engine.calculations.copper import REFERENCE_CELSIUS, resistance_at
from engine.calculations.meter import (
    conformance_probability,
    half_width,
    standard_uncertainty,
    verdict,
)
from engine.calculations.pins import SURE, Expected, PinReading, Pins, identify
from engine.knowledge import Fault, RequestError

PAIRS = ("ab_ohms", "bc_ohms", "ca_ohms")
INSTRUMENTS = {"V": "voltmeter", "ohm": "ohmmeter", "A": "dc-clamp", "s": "timer-meter"}
MOST = 1e9


@dataclass(frozen=True)
class MeterAccuracy:
    """Percent of the reading, and counts of the last digit, which is worth ``resolution``."""

    percent: float
    counts: float
    resolution: float

    def width(self, value: float) -> float:
        """Return the half-width of a reading: never less than half of its last digit."""
        half = half_width(value, self.percent, self.counts, self.resolution)
        return max(half, self.resolution / 2)

    def words(self, unit: str) -> str:
        """Return what the meter is good for."""
        return f"+-({self.percent:g} % + {self.counts:g} x {self.resolution:g} {unit})"


def accuracy_of(
    knowledge: Knowledge, instrument: str, given: "WhichPin | MeterVerdict"
) -> MeterAccuracy:
    """Return percent, counts and resolution: as given, else those of a usual meter."""
    usual = knowledge.rows("instruments")[instrument]
    stated = {name: getattr(given, name) for name in ("percent", "counts", "resolution")}
    figures = ((usual[name] if one is None else one) for name, one in stated.items())
    return MeterAccuracy(*map(float, figures))


@dataclass(frozen=True, kw_only=True)
class WhichPin:
    """Three readings between the pins, what a good part has, and the meter."""

    ab_ohms: float | str = ohms_or_open()
    bc_ohms: float | str = ohms_or_open()
    ca_ohms: float | str = ohms_or_open()
    pull_ohms: float = needed("ohm", 0.02, 20)
    hold_ohms: float = needed("ohm", 1, 2000)
    winding_celsius: float = celsius()
    lead_ohms: float = quantity("ohm", 0, 5, 0.0)
    tolerance_percent: float = quantity("%", 1, 50, 15.0)
    percent: float | None = quantity("%", 0, 50)
    counts: float | None = quantity("counts", 0, 1000)
    resolution: float | None = quantity("ohm", 0.00001, 10)


def which_pin(knowledge: Knowledge, given: WhichPin) -> Worked:
    """Work out which of three unmarked pins is pull, hold and ground."""
    pairs = {name: getattr(given, name) for name in PAIRS}
    faults = [
        Fault(name, "is less than the leads alone; read the leads again")
        for name, value in pairs.items()
        if not isinstance(value, str) and value < given.lead_ohms
    ]
    if given.pull_ohms >= given.hold_ohms:
        message = "must be more than pull_ohms: a hold winding has more ohms than its pull winding"
        faults.append(Fault("hold_ohms", message))
    if faults:
        raise RequestError(faults)
    meter = accuracy_of(knowledge, "ohmmeter", given)
    ab, bc, ca = (_reading(value, given.lead_ohms, meter) for value in pairs.values())
    pull, hold = (
        float(resistance_at(ohms, REFERENCE_CELSIUS, given.winding_celsius))
        for ohms in (given.pull_ohms, given.hold_ohms)
    )
    expected = Expected(pull, hold, given.tolerance_percent / 100)
    found = identify(ab, bc, ca, expected)
    said = {"meter": meter.words("ohm")}
    return Worked(" ".join(_says(found)), _pin_figures(found, expected), said=said)


def _reading(value: float | str, leads: float, meter: MeterAccuracy) -> PinReading:
    """Return one reading without its leads."""
    if isinstance(value, str):
        return PinReading(None)
    return PinReading(value - leads, float(standard_uncertainty(meter.width(value))))


_CLOSURES = {
    "closes": "The three readings add up.",
    "left-over": "The two smaller readings come to more than the largest: something that both "
    "windings share has ohms, the joint, the ground pin, or leads that were not taken off.",
    "impossible": "These readings do not add up for any part: one is wrong or in another range. "
    "Measure all three again.",
    "cannot-say": "The meter is too coarse to tell whether the three add up.",
}
_STATES = {
    "good": "good", "low": "too few ohms, shorted turns perhaps", "high": "too many ohms",
    "open": "open", "cannot-say": "cannot say with this meter",
}  # fmt: skip


def _says(found: Pins) -> list[str]:
    """Return what the pins are and what does not add up, in sentences."""
    pins = {"pull": found.pull, "hold": found.hold, "ground": found.ground}
    named = [f"{name} is pin {pin}" for name, pin in pins.items() if pin and found.cut_off is None]
    said = [f"{', '.join(named).capitalize()}: {sureness(found.sure)}."] if named else []
    if named and found.sure < SURE:
        said.append("That is not sure enough to wire by: measure finer, with the leads taken off.")
    if found.cut_off is not None:
        may = f"it may be {' or '.join(found.may_be)}."
        tail = may if found.may_be else "the reading left fits none of the good windings."
        said.append(
            f"Pin {found.cut_off} is open to both others; by the ohms of the other two, {tail}"
        )
    elif not named and found.closure == "cannot-say":
        said.append("All three pairs are open: the ground path or both windings are broken, or "
                    "the meter is not on the pins.")  # fmt: skip
    else:
        said.append(_CLOSURES[found.closure])
    windings = {"Pull": found.pull_winding, "Hold": found.hold_winding}
    states = (f"{name} winding: {_STATES[one.state]}." for name, one in windings.items() if one)
    return [*said, *states]


def _pin_figures(found: Pins, expected: Expected) -> tuple[Figure, ...]:
    left = None if found.cut_off else found.left_over
    sure = 100 * found.sure if found.pull or found.hold or found.ground else None
    windings = []
    for word, winding, should in (
        ("Pull", found.pull_winding, expected.pull_ohms),
        ("Hold", found.hold_winding, expected.hold_ohms),
    ):
        name, ohms = word.lower(), winding.ohms if winding else None
        state = _STATES[winding.state] if winding else None
        windings += [
            Figure(f"{name}_ohms", f"{word} winding", ohms, "ohm"),
            Figure(f"{name}_state", f"{word} winding is", state),
            Figure(f"{name}_expected_ohms", f"{word} winding should have", should, "ohm"),
        ]
    return (
        Figure("pull_pin", "Pull pin", found.pull),
        Figure("hold_pin", "Hold pin", found.hold),
        Figure("ground_pin", "Ground pin", found.ground),
        Figure("sure_percent", "How sure", sure, "%"),
        *windings,
        Figure("closure", "Do they add up", found.closure),
        Figure("left_over_ohms", "Left over", left, "ohm"),
        Figure("shared_ohms", "Shared by both windings", found.shared_ohms, "ohm"),
        Figure("cut_off_pin", "Pin that is cut off", found.cut_off),
        Figure("may_be", "What that pin may be", ", ".join(found.may_be) or None),
    )


@dataclass(frozen=True, kw_only=True)
class MeterVerdict:
    """The reading, its meter, and what a good part reads."""

    reading: float = needed("", -MOST, MOST)
    unit: str = choice(tuple(INSTRUMENTS), required=True)
    low: float | None = quantity("", -MOST, MOST)
    high: float | None = quantity("", -MOST, MOST)
    lead_ohms: float = quantity("ohm", 0, 5, 0.0)
    percent: float | None = quantity("%", 0, 50)
    counts: float | None = quantity("counts", 0, 1000)
    resolution: float | None = quantity("", 1e-9, 1e6)


_VERDICTS = {
    "good": "good: the reading lies within the band, its meter's error counted in",
    "bad": "bad: the reading lies outside the band, its meter's error counted in",
    "cannot-say": "cannot say: the band's edge lies within what the meter may be off",
}


def meter_verdict(knowledge: Knowledge, given: MeterVerdict) -> Worked:
    """Work out what a meter reading is worth against the band of a good part."""
    low, high, unit = given.low, given.high, given.unit
    if low is None and high is None:
        raise refuse("low", "give low, high, or both: what a good part reads")
    if low is not None and high is not None and low >= high:
        raise refuse("high", "must be above low")
    if given.lead_ohms and unit != "ohm":
        raise refuse("lead_ohms", "leads are taken off ohms alone")
    meter = accuracy_of(knowledge, INSTRUMENTS[unit], given)
    value, half = given.reading - given.lead_ohms, meter.width(given.reading)
    uncertainty = float(standard_uncertainty(half))
    word = verdict(value, uncertainty, low, high)
    inside = float(conformance_probability(value, uncertainty, low, high))
    return Worked(
        says=f"{shown(value, 6)} +-{shown(half, 3)} {unit}: {_VERDICTS[word]}.",
        figures=(
            Figure("verdict", "Verdict", word),
            Figure("value", "Reading, leads taken off", value, unit),
            Figure("half_width", "The meter may be off by", half, unit),
            Figure("standard_uncertainty", "Standard uncertainty", uncertainty, unit),
            Figure("lowest", "It is at least", value - half, unit),
            Figure("highest", "It is at most", value + half, unit),
            Figure("good_percent", "Chance that it lies in the band", 100 * inside, "%"),
        ),
        said={"meter": meter.words(unit)},
    )
