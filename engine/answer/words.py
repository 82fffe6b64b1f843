"""Numbers and bands in words, as a person would say them."""

from collections.abc import Sequence

from engine.knowledge import items
from engine.physics.circuit import Floats
from engine.physics.prediction import OPEN_OHMS, OutcomePrediction

OPEN_WORDS = "over range (open)"


def number(value: float) -> str:
    """Return a number with the digits that a reading deserves: 0.42, 3.1, 24, 1800."""
    size = abs(value)
    if size < 0.005:
        return "0"
    digits = 2 if size < 1 else 1 if size < 20 else 0
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def band_words(band: tuple[float, float] | str, unit: str, low: float) -> str:
    """Return a band in words, cut at what the quantity can be: ``0.6 to 14 A``."""
    if isinstance(band, str):
        return OPEN_WORDS
    start, end = (max(limit, low if low >= 0 else limit) for limit in band)
    if unit in ("ohm", "s"):
        start, end = max(start, 0.0), max(end, 0.0)
    if unit == "ohm" and end >= OPEN_OHMS:
        return f"{number(start)} {unit} or more"
    # a millivolt below zero is a meter's noise, not a reading
    start = 0.0 if -0.5 < start < 0 <= end else start
    if number(start) == number(end):
        return f"{number(end)} {unit}"
    return f"{number(start)} to {number(end)} {unit}"


def outcome_words(prediction: OutcomePrediction, weights: Floats, outcomes: items.Outcomes) -> str:
    """Return the outcomes that make up most of the chance, the likeliest first."""
    shares = [float(share) for share in weights @ prediction.shares]
    ranked = sorted(range(len(shares)), key=lambda n: (-round(shares[n], 9), n))
    said, total = [], 0.0
    for place in ranked:
        name = prediction.names[place]
        share = round(100 * shares[place], 9)  # not to turn on the last bit, as in percent
        said.append(f"'{outcomes.words.get(name, name)}' ({share:.0f} %)")
        total += shares[place]
        if total > 0.8 or len(said) == 2:
            break
    return " or ".join(said)


def percent(chance: float) -> str:
    """Return a probability in words."""
    if chance > 0.995:
        return "over 99 %"
    if chance < 0.005:
        return "under 1 %"
    # a share that ends on a half must not turn on the last bit, which the order of sums decides
    return f"{round(100 * chance, 9):.0f} %"


def listed(names: Sequence[str]) -> str:
    """Return names as a list in prose."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
