"""What a meter reading is worth against the band of a good part."""

from dataclasses import dataclass

from api.sums.entries import choice, needed, quantity, refuse
from api.sums.model import Figure, Sum, Worked, shown
from api.sums.pins import accuracy_of
from engine import Knowledge
from engine.calculations.meter import conformance_probability, standard_uncertainty, verdict

INSTRUMENTS = {"V": "voltmeter", "ohm": "ohmmeter", "A": "dc-clamp", "s": "timer-meter"}
_MOST = 1e9


@dataclass(frozen=True, kw_only=True)
class MeterVerdict:
    """The reading, its meter, and what a good part reads."""

    reading: float = needed("What the meter showed, in the unit given.", "", -_MOST, _MOST)
    unit: str = choice("Unit of reading, band and resolution.", tuple(INSTRUMENTS), required=True)
    low: float | None = quantity(
        "Least that a good part reads; leave out where there is no least.", "", -_MOST, _MOST
    )
    high: float | None = quantity(
        "Most that a good part reads; leave out where there is no most.", "", -_MOST, _MOST
    )
    lead_ohms: float = quantity(
        "Ohms of the meter's leads, for ohms only; they are taken off.", "ohm", 0, 5, 0.0
    )
    percent: float | None = quantity(
        "Accuracy of the meter, percent of reading; a usual one's if left out.", "%", 0, 50
    )
    counts: float | None = quantity(
        "Accuracy of the meter, last digits on top; as above.", "counts", 0, 1000
    )
    resolution: float | None = quantity(
        "What its last digit is worth, in the unit given.", "", 1e-9, 1e6
    )


def _check(given: MeterVerdict) -> None:
    """Raise RequestError for a band that is none, or leads where there are no ohms."""
    low, high = given.low, given.high
    if low is None and high is None:
        raise refuse("low", "give low, high, or both: what a good part reads")
    if low is not None and high is not None and low >= high:
        raise refuse("high", "must be above low")
    if given.lead_ohms and given.unit != "ohm":
        raise refuse("lead_ohms", "leads are taken off ohms alone")


_SAYS = {
    "good": "good: the reading lies within the band, its meter's error counted in",
    "bad": "bad: the reading lies outside the band, its meter's error counted in",
    "cannot-say": "cannot say: the band's edge lies within what the meter may be off",
}


def _work(knowledge: Knowledge, given: MeterVerdict) -> Worked:
    _check(given)
    meter = accuracy_of(
        knowledge, INSTRUMENTS[given.unit], (given.percent, given.counts, given.resolution)
    )
    unit, value = given.unit, given.reading - given.lead_ohms
    half = meter.width(given.reading)
    uncertainty = float(standard_uncertainty(half))
    band = (given.low, given.high)
    word = verdict(value, uncertainty, *band)
    inside = float(conformance_probability(value, uncertainty, *band))
    return Worked(
        says=f"{shown(value, 6)} +-{shown(half, 3)} {unit}: {_SAYS[word]}.",
        figures=(
            Figure("verdict", "Verdict", word),
            Figure("value", "Reading, leads taken off", value, unit),
            Figure("half_width", "The meter may be off by", half, unit),
            Figure("standard_uncertainty", "Standard uncertainty", uncertainty, unit),
            Figure("lowest", "It is at least", value - half, unit),
            Figure("highest", "It is at most", value + half, unit),
            Figure("good_percent", "Chance that it lies in the band", 100 * inside, "%"),
        ),
        formula="a = reading x % + counts x resolution;  u = a / sqrt 3;  good or bad from 95 %",
        source="Makers' accuracy statements; JCGM 100:2008 clause 4.3.7; JCGM 106:2012 clauses 7 "
        "and 8 (from memory); 95 %: judgement",
        assumptions=(
            f"The meter is good for {meter.words(unit)}; a usual one where you did not say.",
            "Good contact of the probes, and the band for the temperature that the part has.",
        ),
    )


METER_VERDICT = Sum(
    id="meter-verdict",
    title="What a reading is worth",
    tells="Good, bad or cannot say: a reading against its band with the meter's error.",
    inputs=MeterVerdict,
    example={"reading": 0.4, "unit": "ohm", "low": 0.255, "high": 0.345,
             "percent": 0.5, "counts": 2, "resolution": 0.1},
    work=_work,
)  # fmt: skip
