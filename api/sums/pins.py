"""Which of three unmarked pins is pull, hold and ground."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.answers.text import sureness
from api.sums.entries import celsius, needed, ohms_or_open, quantity
from api.sums.model import Figure, Sum, Worked
from engine import Knowledge
from engine.calculations.copper import REFERENCE_CELSIUS, resistance_at
from engine.calculations.meter import half_width, standard_uncertainty
from engine.calculations.pins import SURE, Expected, PinReading, Pins, Winding, identify
from engine.knowledge import Fault, RequestError

PAIRS = ("ab_ohms", "bc_ohms", "ca_ohms")
METER = ("percent", "counts", "resolution")


@dataclass(frozen=True, kw_only=True)
class WhichPin:
    """Three readings between the pins, what a good part has, and the meter."""

    ab_ohms: float | str = ohms_or_open("Ohms between pin a and pin b.", 100_000)
    bc_ohms: float | str = ohms_or_open("Ohms between pin b and pin c.", 100_000)
    ca_ohms: float | str = ohms_or_open("Ohms between pin c and pin a.", 100_000)
    pull_ohms: float = needed("Ohms of a good pull winding at 20 C.", "ohm", 0.02, 20)
    hold_ohms: float = needed("Ohms of a good hold winding at 20 C.", "ohm", 1, 2000)
    winding_celsius: float = celsius("Temperature of the part.")
    lead_ohms: float = quantity("Ohms of the meter's leads; they are taken off.", "ohm", 0, 5, 0.0)
    tolerance_percent: float = quantity("How far a good winding may be off.", "%", 1, 50, 15.0)
    percent: float | None = quantity(
        "Accuracy of the meter, percent of reading; a usual one's if left out.", "%", 0, 50
    )
    counts: float | None = quantity(
        "Accuracy of the meter, last digits on top; as above.", "counts", 0, 1000
    )
    resolution: float | None = quantity("What its last digit is worth.", "ohm", 0.00001, 10)

    @property
    def pairs(self) -> tuple[float | str, float | str, float | str]:
        """The three readings, in the order of ``PAIRS``."""
        return self.ab_ohms, self.bc_ohms, self.ca_ohms


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
    knowledge: Knowledge, instrument: str, stated: Sequence[float | None]
) -> MeterAccuracy:
    """Return percent, counts and resolution: as stated, else those of a usual meter."""
    usual = knowledge.rows("instruments")[instrument]
    figures = zip(METER, stated, strict=True)
    return MeterAccuracy(*(float(usual[name] if one is None else one) for name, one in figures))


def _reading(value: float | str, leads: float, meter: MeterAccuracy) -> PinReading:
    """Return one reading without its leads."""
    if isinstance(value, str):
        return PinReading(None)
    return PinReading(value - leads, float(standard_uncertainty(meter.width(value))))


def _check(given: WhichPin) -> None:
    """Raise RequestError for readings below the leads, or expected ohms in the wrong order."""
    faults = [
        Fault(name, "is less than the leads alone; read the leads again")
        for name, value in zip(PAIRS, given.pairs, strict=True)
        if not isinstance(value, str) and value < given.lead_ohms
    ]
    if given.pull_ohms >= given.hold_ohms:
        message = "must be more than pull_ohms: a hold winding has more ohms than its pull winding"
        faults.append(Fault("hold_ohms", message))
    if faults:
        raise RequestError(faults)


def _work(knowledge: Knowledge, given: WhichPin) -> Worked:
    _check(given)
    meter = accuracy_of(knowledge, "ohmmeter", (given.percent, given.counts, given.resolution))
    ab, bc, ca = (_reading(value, given.lead_ohms, meter) for value in given.pairs)
    at = given.winding_celsius
    expected = Expected(
        float(resistance_at(given.pull_ohms, REFERENCE_CELSIUS, at)),
        float(resistance_at(given.hold_ohms, REFERENCE_CELSIUS, at)),
        given.tolerance_percent / 100,
    )
    found = identify(ab, bc, ca, expected)
    return Worked(
        says=" ".join(_says(found)),
        figures=_figures(found, expected),
        formula="pull + hold = largest of the three; the pair without the ground pin reads it, "
        "the pair without the hold pin reads least",
        source="Resistances in series; star of three resistances from its three pairs (Kennelly "
        "1899, from memory); u = a / sqrt 3, JCGM 100:2008 clause 4.3.7; 95 %: judgement",
        assumptions=(
            "The part is unplugged, and its hold winding has more ohms than its pull winding.",
            f"The meter is good for {meter.words('ohm')}.",
            "A coil that grounds through its body may have a pin that is joined to nothing: "
            "measure to bare metal on the body as well.",
        ),
    )


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
    pins = (("pull", found.pull), ("hold", found.hold), ("ground", found.ground))
    named = [f"{name} is pin {pin}" for name, pin in pins if pin and found.cut_off is None]
    said = []
    if named:
        said.append(f"{', '.join(named).capitalize()}: {sureness(found.sure)}.")
    if named and found.sure < SURE:
        said.append("That is not sure enough to wire by: measure finer, with the leads taken off.")
    if found.cut_off is not None:
        said.append(_cut(found))
    elif not named and found.closure == "cannot-say":
        said.append("All three pairs are open: the ground path or both windings are broken, or "
                    "the meter is not on the pins.")  # fmt: skip
    else:
        said.append(_CLOSURES[found.closure])
    return [*said, *_windings(found)]


def _windings(found: Pins) -> list[str]:
    """Return the state of each winding that could be judged, in sentences."""
    pair = (("Pull", found.pull_winding), ("Hold", found.hold_winding))
    return [f"{name} winding: {_STATES[one.state]}." for name, one in pair if one is not None]


def _cut(found: Pins) -> str:
    may = " or ".join(found.may_be)
    tail = f"it may be {may}." if may else "the reading left fits none of the good windings."
    return f"Pin {found.cut_off} is open to both others; by the ohms of the other two, {tail}"


def _figures(found: Pins, expected: Expected) -> tuple[Figure, ...]:
    left = None if found.cut_off else found.left_over
    named = found.pull or found.hold or found.ground
    sure = 100 * found.sure if named else None
    return (
        Figure("pull_pin", "Pull pin", found.pull),
        Figure("hold_pin", "Hold pin", found.hold),
        Figure("ground_pin", "Ground pin", found.ground),
        Figure("sure_percent", "How sure", sure, "%"),
        *_winding("pull", found.pull_winding, expected.pull_ohms),
        *_winding("hold", found.hold_winding, expected.hold_ohms),
        Figure("closure", "Do they add up", found.closure),
        Figure("left_over_ohms", "Left over", left, "ohm"),
        Figure("shared_ohms", "Shared by both windings", found.shared_ohms, "ohm"),
        Figure("cut_off_pin", "Pin that is cut off", found.cut_off),
        Figure("may_be", "What that pin may be", ", ".join(found.may_be) or None),
    )


def _winding(name: str, winding: Winding | None, expected: float) -> tuple[Figure, ...]:
    word = name.capitalize()
    ohms = None if winding is None else winding.ohms
    state = None if winding is None else _STATES[winding.state]
    return (
        Figure(f"{name}_ohms", f"{word} winding", ohms, "ohm"),
        Figure(f"{name}_state", f"{word} winding is", state),
        Figure(f"{name}_expected_ohms", f"{word} winding should have", expected, "ohm"),
    )


WHICH_PIN = Sum(
    id="which-pin",
    title="Which pin is which",
    tells="Pull, hold and ground of an unmarked part from three readings between its pins.",
    inputs=WhichPin,
    example={"ab_ohms": 0.61, "bc_ohms": 19.11, "ca_ohms": 18.7, "lead_ohms": 0.2,
             "pull_ohms": 0.4, "hold_ohms": 18.5,
             "percent": 0.2, "counts": 2, "resolution": 0.01},
    work=_work,
    hazards=frozenset({"ohms"}),
)  # fmt: skip
