"""Whether a blade fuse opens at a current, and between which times."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.strict_json import Json
from api.sums.entries import needed, quantity, refuse
from api.sums.model import Axis, Curve, CurveLine, CurveMark, Figure, Sum, Worked, shown
from engine import Knowledge
from engine.calculations.fuse import Window, opening_window, opening_words, percent_of_rating

STEADY_PERCENT = 75.0  # fuse makers' general rule at 25 C, as kb/tables/blade-fuses.yaml says


@dataclass(frozen=True, kw_only=True)
class FuseOpening:
    """The fuse and the current; or volts and ohms, which give it."""

    fuse_amps: float = needed("Rating printed on the blade fuse.", "A", 1, 40)
    amperes: float | None = quantity(
        "Amperes through it; or give volts and ohms.", "A", 0.001, 5000
    )
    volts: float | None = quantity("Volts that drive the current, with ohms.", "V", 0.01, 100)
    ohms: float | None = quantity(
        "Ohms of all that the current flows through.", "ohm", 0.001, 100_000
    )
    seconds: float | None = quantity(
        "How long the current flows, when you know.", "s", 0.001, 1_000_000
    )


def _amperes(given: FuseOpening) -> float:
    """Return the current, given or from volts and ohms. Raises RequestError for neither or both."""
    pair = {"volts": given.volts, "ohms": given.ohms}
    there = [name for name, value in pair.items() if value is not None]
    if given.amperes is not None:
        if there:
            raise refuse(there[0], "give either amperes, or volts and ohms")
        return given.amperes
    if not there:
        raise refuse("amperes", "is missing; give amperes, or volts and ohms")
    if given.volts is None or given.ohms is None:
        lacking = "ohms" if given.ohms is None else "volts"
        raise refuse(lacking, f"is missing; {there[0]} alone give no current")
    return given.volts / given.ohms


def _work(knowledge: Knowledge, given: FuseOpening) -> Worked:
    table = knowledge.tables["blade-fuses"]
    amperes, rating = _amperes(given), given.fuse_amps
    window = opening_window(amperes, rating, table.rows)
    words = opening_words(amperes, rating, table.rows)
    percent = percent_of_rating(amperes, rating)
    return Worked(
        says=f"{shown(amperes)} A is {shown(percent)} % of {rating:g} A. "
        + _says(words, window, given.seconds),
        figures=(
            Figure("amperes", "Current", amperes, "A"),
            Figure("percent", "Share of the rating", percent, "%"),
            Figure("opens", "Opens by the standard", words),
            Figure("earliest_seconds", "Not before", window.earliest, "s"),
            Figure("latest_seconds", "Within", window.latest, "s"),
            *_later(words, window, given.seconds),
        ),
        formula="share = I / rating; between two rows the latest time is that of the lower row, "
        "the earliest that of the higher",
        source=table.source,
        assumptions=(
            "A good fuse of type C or F in a good holder at 25 C; a hot one opens sooner.",
            "The current is steady. Short pulses with time to cool between are easier on it.",
            f"For a load that stays on, fuse makers let pass at most {STEADY_PERCENT:g} % of the "
            f"rating: {shown(rating * STEADY_PERCENT / 100)} A here.",
        ),
        cautions=_cautions(words),
        curve=_curve(table.rows, amperes, rating, window),
    )


def _later(words: str, window: Window, seconds: float | None) -> tuple[Figure, ...]:
    if seconds is None:
        return ()
    then = _by_then(words, window, seconds)
    return (Figure("by_then", f"After {_time(seconds)}", then),)


def _says(words: str, window: Window, seconds: float | None) -> str:
    if words == "never opens":
        return "The fuse does not open, so it does not protect a winding that stays on."
    if words == "cannot say":
        return (
            f"The standard sets no latest time here: not before {_time(window.earliest)}, "
            "perhaps never. Do not count on it to open."
        )
    first = f"not before {_time(window.earliest)}" if window.earliest else "at once or later"
    end = "".join(f" {one.name}: {one.value}." for one in _later(words, window, seconds))
    return f"The fuse opens: {first}, within {_time(window.latest or 0)}." + end


def _time(seconds: float) -> str:
    if seconds < 120:
        return f"{shown(seconds, 3)} s"
    return f"{shown(seconds / 60, 3)} min" if seconds < 7200 else f"{shown(seconds / 3600, 3)} h"


def _by_then(words: str, window: Window, seconds: float) -> str:
    """Return what a good fuse has done after so many seconds."""
    if words == "never opens" or seconds < window.earliest:
        return "still whole"
    if window.latest is not None and seconds >= window.latest:
        return "has opened"
    return "may have opened"


def _cautions(words: str) -> tuple[str, ...]:
    if words == "never opens":
        return ("A winding that is held on burns behind a whole fuse: find what holds it on.",)
    return ("A fuse that opens has done its work: find what draws the current.",)


def _curve(rows: Sequence[Json], amperes: float, rating: float, window: Window) -> Curve:
    """Return the earliest and latest times against the current, in the standard's steps."""
    ordered = sorted(rows, key=lambda row: float(row["percent"]))
    last = max(float(ordered[-1]["percent"]) * 1.15, 100 * amperes / rating)
    times = [window.earliest or None, window.latest]
    marks = [
        CurveMark(name, amperes, at)
        for name, at in zip(("not before", "within"), times, strict=True)
        if at
    ]
    return Curve(
        Axis("current", "A", "log"),
        Axis("time until it opens", "s", "log"),
        (
            CurveLine("opens within", _latest(ordered, rating, last)),
            CurveLine("opens not before", _earliest(ordered, rating)),
        ),
        tuple(marks),
    )


def _latest(rows: Sequence[Json], rating: float, last: float) -> tuple[tuple[float, float], ...]:
    """Return the steps of the latest time: each row's holds up to the next row."""
    timed = [row for row in rows if row["latest_seconds"] is not None]
    ends = [float(row["percent"]) for row in timed[1:]] + [last]
    return tuple(
        (rating * percent / 100, float(row["latest_seconds"]))
        for row, end in zip(timed, ends, strict=True)
        for percent in (float(row["percent"]), end)
    )


def _earliest(rows: Sequence[Json], rating: float) -> tuple[tuple[float, float], ...]:
    """Return the steps of the earliest time: each row's holds down to the row before."""
    starts = [float(rows[0]["percent"])] + [float(row["percent"]) for row in rows[:-1]]
    return tuple(
        (rating * percent / 100, float(row["earliest_seconds"]))
        for row, start in zip(rows, starts, strict=True)
        for percent in dict.fromkeys((start, float(row["percent"])))
    )


FUSE_OPENING = Sum(
    id="fuse-opening",
    title="Will this fuse open",
    tells="Whether a blade fuse opens at a current, not before and within which time.",
    inputs=FuseOpening,
    example={"fuse_amps": 30, "volts": 12.6, "ohms": 0.36},
    work=_work,
    rules=("never-a-larger-fuse",),
)
