"""Sums about what feeds a winding: the volts lost on the way, and whether its fuse opens."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from api.strict_json import Json
from api.sums.entries import celsius, choice, need_one_of, needed, quantity, refuse
from api.sums.model import Axis, Curve, CurveLine, CurveMark, Figure, Points, Worked, limit, shown
from engine import Knowledge
from engine.calculations import copper, fuse

STEADY_PERCENT = 75.0  # fuse makers' general rule at 25 C, as kb/tables/blade-fuses.yaml says
AWG = (20, 18, 16, 14, 12, 10, 8)
MM2 = (0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10)
FULL = "full-awg"
CABLES_OF = {"awg": ("vehicle", FULL), "mm2": ("vehicle", "class-5", "class-2")}
CABLES = tuple(dict.fromkeys(name for names in CABLES_OF.values() for name in names))
CIRCULAR_MIL = 5.067075e-10  # m2: a circle of a thousandth of an inch


@dataclass(frozen=True, kw_only=True)
class FeedDrop:
    """The wire, what flows through it, and what may be lost."""

    amperes: float = needed("A", 0.001, 1000)
    awg: float | None = choice(AWG, unit="AWG")
    mm2: float | None = choice(MM2, unit="mm2")
    cable: str = choice(CABLES, "vehicle")
    one_way_metres: float = needed("m", 0.01, 200)
    return_metres: float = quantity("m", 0, 200, 0.0)
    celsius: float = celsius()
    system_volts: float = quantity("V", 1, 100, 12.0)
    limit_percent: float = quantity("%", 0.01, 100, 5.0)

    @property
    def metres(self) -> float:
        """Return the length there and back."""
        return self.one_way_metres + self.return_metres

    @property
    def table(self) -> str:
        """Return the name of the table that has its sizes."""
        return "conductors-awg" if self.awg is not None else "conductors-metric"


@dataclass(frozen=True)
class Size:
    """A size of the table in the kind of cable asked for; ohms at 20 C."""

    label: str
    mm2: float
    ohm_per_km: float


def feed_drop(knowledge: Knowledge, given: FeedDrop) -> Worked:
    """Work out the volts lost in a feed and its return, and the smallest wire within the limit."""
    need_one_of(given, ("awg", "mm2"))
    table = knowledge.tables[given.table]
    sizes = [size for row in table.rows if (size := _size(row, given.cable))]
    sizes.sort(key=lambda one: one.mm2)
    size = _chosen(sizes, given)
    amperes, volts, at = given.amperes, given.system_volts, given.celsius
    limit_volts = given.limit_percent / 100 * volts

    def lost(one: Size) -> float:
        return copper.feed_drop(amperes, given.metres, one.ohm_per_km / 1000, at)

    most = copper.highest_ohms_per_metre(amperes, given.metres, limit_volts, at)
    found = next((one for one in sizes if one.ohm_per_km <= 1000 * most), None)
    drop = lost(size)
    percent = 100 * drop / volts
    found_label, found_drop = (found.label, lost(found)) if found else (None, None)
    return Worked(
        says=f"{size.label} loses {shown(drop, 3)} V, {shown(percent, 3)} % of {volts:g} V: "
        + _verdict(percent, size, found, given),
        figures=(
            Figure("drop_volts", "Volts lost", drop, "V"),
            Figure("drop_percent", "Share of the system volts", percent, "%"),
            Figure("wire_ohms", "Ohms of the wire at its temperature", drop / amperes, "ohm"),
            Figure("limit_volts", "Volts that may be lost", limit_volts, "V"),
            Figure("smallest_size", "Smallest size that keeps the limit", found_label),
            Figure("smallest_drop_volts", "Volts that it loses", found_drop, "V"),
        ),
        assumptions=(
            "The return wire has the same size as the feed." if given.return_metres else
            "The return through frame and straps is left out: measure it, it is often the worse.",
            _CABLE_WORDS[given.table, given.cable == "vehicle"],
        ),
        said={"table": table.source.rstrip(".")},
        curve=_curve(size, [(one.mm2, 100 * lost(one) / volts) for one in sizes], given),
    )  # fmt: skip


def _curve(size: Size, by_size: Sequence[tuple[float, float]], given: FeedDrop) -> Curve:
    """Return the share lost by each size of the table."""
    here = dict(by_size)[size.mm2]
    return Curve(
        Axis("cross-section", "mm2", "log"), Axis("share of the system volts lost", "%", "log"),
        (CurveLine("by size", tuple(by_size)),
         limit("limit", by_size[0][0], by_size[-1][0], given.limit_percent)),
        (CurveMark("this wire", size.mm2, here),),
    )  # fmt: skip


def _size(row: Json, cable: str) -> Size | None:
    """Return one row as a size, or None where the table has no such cable of it."""
    if "awg" in row:
        label = f"{row['awg']:g} AWG"
        if cable == FULL:
            return Size(label, float(row["mm2"]), float(row["ohm_per_km"]))
        if row.get("sae_circular_mils") is None:
            return None
        square_metres = row["sae_circular_mils"] * CIRCULAR_MIL
        return Size(label, square_metres * 1e6, copper.ohms_per_metre(square_metres) * 1000)
    ohms = row.get(cable.replace("-", "_") + "_ohm_per_km")
    return None if ohms is None else Size(f"{row['mm2']:g} mm2", float(row["mm2"]), float(ohms))


def _chosen(sizes: Sequence[Size], given: FeedDrop) -> Size:
    """Return the size asked for. Raises RequestError where there is none in this cable."""
    column = "awg" if given.awg is not None else "mm2"
    known = CABLES_OF[column]
    if given.cable not in known:
        raise refuse("cable", f"with {column} it is one of {', '.join(known)}")
    label = f"{getattr(given, column):g} {'AWG' if column == 'awg' else 'mm2'}"
    for size in sizes:
        if size.label == label:
            return size
    raise refuse(column, f"the table has no {given.cable} cable of {label}")


def _verdict(percent: float, size: Size, found: Size | None, given: FeedDrop) -> str:
    limit = f"{given.limit_percent:g} %"
    if found is None:
        return f"over {limit}. No size of the table keeps {limit}; shorten the run."
    if percent > given.limit_percent * (1 + 1e-9):
        return f"over {limit}. {found.label} is the smallest that keeps it."
    within = f"within {limit}"
    return f"{within}." if found == size else f"{within}; {found.label} would also keep it."


_CABLE_WORDS = {
    ("conductors-awg", True): "Vehicle wire to SAE areas, thinner than its gauge says.",
    ("conductors-awg", False): "Wire with the full copper of its gauge; vehicle wire has less.",
    ("conductors-metric", True): "Vehicle cable with the highest ohms that its standard allows.",
    ("conductors-metric", False): "Cable with the highest ohms that its standard allows.",
}


@dataclass(frozen=True, kw_only=True)
class FuseOpening:
    """The fuse and the current; or volts and ohms, which give it."""

    fuse_amps: float = needed("A", 1, 40)
    amperes: float | None = quantity("A", 0.001, 5000)
    volts: float | None = quantity("V", 0.01, 100)
    ohms: float | None = quantity("ohm", 0.001, 100_000)
    seconds: float | None = quantity("s", 0.001, 1_000_000)


def fuse_opening(knowledge: Knowledge, given: FuseOpening) -> Worked:
    """Work out whether a blade fuse opens at a current, and between which times."""
    table = knowledge.tables["blade-fuses"]
    amperes, rating = _amperes(given), given.fuse_amps
    window = fuse.opening_window(amperes, rating, table.rows)
    words = fuse.opening_words(amperes, rating, table.rows)
    percent = fuse.percent_of_rating(amperes, rating)
    return Worked(
        says=f"{shown(amperes)} A is {shown(percent)} % of {rating:g} A. "
        + _opens(words, window, given.seconds),
        figures=(
            Figure("amperes", "Current", amperes, "A"),
            Figure("percent", "Share of the rating", percent, "%"),
            Figure("opens", "Opens by the standard", words),
            Figure("earliest_seconds", "Not before", window.earliest, "s"),
            Figure("latest_seconds", "Within", window.latest, "s"),
            *_later(words, window, given.seconds),
        ),
        cautions=(
            "A winding that is held on burns behind a whole fuse: find what holds it on."
            if words == "never opens"
            else "A fuse that opens has done its work: find what draws the current.",
        ),
        said={
            "table": table.source, "percent": STEADY_PERCENT,
            "steady": shown(rating * STEADY_PERCENT / 100),
        },
        curve=_fuse_curve(table.rows, amperes, rating, window),
    )  # fmt: skip


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


def _later(words: str, window: fuse.Window, seconds: float | None) -> tuple[Figure, ...]:
    if seconds is None:
        return ()
    then = _by_then(words, window, seconds)
    return (Figure("by_then", f"After {_time(seconds)}", then),)


def _opens(words: str, window: fuse.Window, seconds: float | None) -> str:
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


def _by_then(words: str, window: fuse.Window, seconds: float) -> str:
    """Return what a good fuse has done after so many seconds."""
    if words == "never opens" or seconds < window.earliest:
        return "still whole"
    if window.latest is not None and seconds >= window.latest:
        return "has opened"
    return "may have opened"


def _fuse_curve(rows: Sequence[Json], amperes: float, rating: float, window: fuse.Window) -> Curve:
    """Return the earliest and latest times against the current, in the standard's steps.

    The latest time of a row holds up to the next row, the earliest down to the row before.
    """
    at = {float(row["percent"]): row for row in sorted(rows, key=lambda row: float(row["percent"]))}
    timed = [percent for percent, row in at.items() if row["latest_seconds"] is not None]
    last = max(max(at) * 1.15, 100 * amperes / rating)

    def steps(which: str, ends: Iterable[tuple[float, float, float]]) -> Points:
        """Return a level piece for each row, from one percentage to another."""
        return tuple(
            (rating * percent / 100, float(at[row][which]))
            for row, start, end in ends for percent in dict.fromkeys((start, end))
        )  # fmt: skip

    within = zip(timed, timed, [*timed[1:], last], strict=True)
    before = zip(at, [min(at), *list(at)[:-1]], at, strict=True)
    times = {"not before": window.earliest, "within": window.latest}
    return Curve(
        Axis("current", "A", "log"), Axis("time until it opens", "s", "log"),
        (CurveLine("opens within", steps("latest_seconds", within)),
         CurveLine("opens not before", steps("earliest_seconds", before))),
        tuple(CurveMark(name, amperes, time) for name, time in times.items() if time),
    )  # fmt: skip
