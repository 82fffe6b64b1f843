"""Volts lost in a feed and its return, and the smallest wire that keeps within a limit."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.strict_json import Json
from api.sums.entries import celsius, choice, need_one_of, needed, quantity, refuse
from api.sums.model import Axis, Curve, CurveLine, CurveMark, Figure, Sum, Worked, limit, shown
from engine import Knowledge
from engine.calculations.copper import (
    feed_drop,
    feed_ohms,
    highest_ohms_per_metre,
    ohms_per_metre,
)

AWG = (20, 18, 16, 14, 12, 10, 8)
MM2 = (0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10)
FULL = "full-awg"
CABLES_OF = {"awg": ("vehicle", FULL), "mm2": ("vehicle", "class-5", "class-2")}
CABLES = tuple(dict.fromkeys(name for names in CABLES_OF.values() for name in names))
CIRCULAR_MIL = 5.067075e-10  # m2: a circle of a thousandth of an inch


@dataclass(frozen=True, kw_only=True)
class FeedDrop:
    """The wire, what flows through it, and what may be lost."""

    amperes: float = needed("Amperes through the wire.", "A", 0.001, 1000)
    awg: float | None = choice("Size by American wire gauge; or give mm2.", AWG, unit="AWG")
    mm2: float | None = choice("Copper cross-section; or give awg.", MM2, unit="mm2")
    cable: str = choice(
        "Kind of cable: vehicle for both; full-awg with awg; class-5, class-2 with mm2.",
        CABLES, "vehicle",
    )  # fmt: skip
    one_way_metres: float = needed("Length of the feed, one way.", "m", 0.01, 200)
    return_metres: float = quantity(
        "Length of a return wire of the same size; 0 where it returns through the frame.",
        "m", 0, 200, 0.0,
    )  # fmt: skip
    celsius: float = celsius("Temperature of the wire.")
    system_volts: float = quantity(
        "Volts of the system, of which the loss is a share.", "V", 1, 100, 12.0
    )
    limit_percent: float = quantity(
        "What may be lost, in percent of the system volts.", "%", 0.01, 100, 5.0
    )


@dataclass(frozen=True)
class Size:
    """A size of the table in the kind of cable asked for; ohms at 20 C."""

    label: str
    mm2: float
    ohm_per_km: float


def _sizes(knowledge: Knowledge, given: FeedDrop) -> list[Size]:
    """Return the sizes there are in this kind of cable, the thinnest first."""
    rows = knowledge.tables[_table_name(given)].rows
    found = [_size(row, given.cable) for row in rows]
    return sorted((one for one in found if one is not None), key=lambda one: one.mm2)


def _size(row: Json, cable: str) -> Size | None:
    """Return one row as a size, or None where the table has no such cable of it."""
    if "awg" in row:
        label = f"{row['awg']:g} AWG"
        if cable == FULL:
            return Size(label, float(row["mm2"]), float(row["ohm_per_km"]))
        if row.get("sae_circular_mils") is None:
            return None
        square_metres = row["sae_circular_mils"] * CIRCULAR_MIL
        return Size(label, square_metres * 1e6, ohms_per_metre(square_metres) * 1000)
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


def _table_name(given: FeedDrop) -> str:
    return "conductors-awg" if given.awg is not None else "conductors-metric"


def _metres(given: FeedDrop) -> float:
    return float(given.one_way_metres + given.return_metres)


def _drop(size: Size, given: FeedDrop) -> float:
    per_metre = size.ohm_per_km / 1000
    return feed_drop(given.amperes, _metres(given), per_metre, given.celsius)


def _smallest(sizes: Sequence[Size], given: FeedDrop) -> Size | None:
    """Return the smallest wire of the table, the thinnest first, that keeps the limit, or None."""
    volts = given.limit_percent / 100 * given.system_volts
    most = highest_ohms_per_metre(given.amperes, _metres(given), volts, given.celsius)
    return next((one for one in sizes if one.ohm_per_km <= 1000 * most), None)


def _work(knowledge: Knowledge, given: FeedDrop) -> Worked:
    need_one_of(given, ("awg", "mm2"))
    sizes = _sizes(knowledge, given)
    size = _chosen(sizes, given)
    found = _smallest(sizes, given)
    drop = _drop(size, given)
    percent = 100 * drop / given.system_volts
    return Worked(
        says=f"{size.label} loses {shown(drop, 3)} V, {shown(percent, 3)} % of "
        f"{given.system_volts:g} V: " + _verdict(percent, size, found, given),
        figures=_figures(size, found, drop, given),
        formula="U = I x length (there and back) x ohm/m at 20 C x (t + 234.5) / 254.5",
        source=f"{knowledge.tables[_table_name(given)].source.rstrip('.')}; {_LAWS}",
        assumptions=_assumptions(given),
        cautions=(
            "The sum is about volts alone. A wire must also carry the current that its fuse lets "
            "through without harm: take the size from the machine maker's manual.",
        ),
        curve=_curve(sizes, size, drop, given),
    )


_LAWS = (
    "Ohm's law; resistivity of IEC 60028:1925; copper line of IEC 60034-1 clause 8.6.2 (from "
    "memory); 5 %: IEC 60204-1 clause 12.5 (from memory)"
)


def _verdict(percent: float, size: Size, found: Size | None, given: FeedDrop) -> str:
    limit = f"{given.limit_percent:g} %"
    if found is None:
        return f"over {limit}. No size of the table keeps {limit}; shorten the run."
    if percent > given.limit_percent * (1 + 1e-9):
        return f"over {limit}. {found.label} is the smallest that keeps it."
    within = f"within {limit}"
    return f"{within}." if found == size else f"{within}; {found.label} would also keep it."


def _assumptions(given: FeedDrop) -> tuple[str, ...]:
    back = (
        "The return wire has the same size as the feed."
        if given.return_metres
        else "The return through frame and straps is left out: measure it, it is often the worse."
    )
    return (
        back,
        _CABLE_WORDS[_table_name(given), given.cable == "vehicle"],
        "Joints, fuse, contacts and plugs come on top: the sum is about sound copper alone.",
        "A wire that loses more than the sum says has a bad joint or broken strands.",
    )


_CABLE_WORDS = {
    ("conductors-awg", True): "Vehicle wire to SAE areas, thinner than its gauge says.",
    ("conductors-awg", False): "Wire with the full copper of its gauge; vehicle wire has less.",
    ("conductors-metric", True): "Vehicle cable with the highest ohms that its standard allows.",
    ("conductors-metric", False): "Cable with the highest ohms that its standard allows.",
}


def _figures(size: Size, found: Size | None, drop: float, given: FeedDrop) -> tuple[Figure, ...]:
    volts = given.system_volts
    ohms = feed_ohms(_metres(given), size.ohm_per_km / 1000, given.celsius)
    best = None if found is None else _drop(found, given)
    label = None if found is None else found.label
    return (
        Figure("drop_volts", "Volts lost", drop, "V"),
        Figure("drop_percent", "Share of the system volts", 100 * drop / volts, "%"),
        Figure("wire_ohms", "Ohms of the wire at its temperature", ohms, "ohm"),
        Figure("limit_volts", "Volts that may be lost", given.limit_percent / 100 * volts, "V"),
        Figure("smallest_size", "Smallest size that keeps the limit", label),
        Figure("smallest_drop_volts", "Volts that it loses", best, "V"),
    )


def _curve(sizes: Sequence[Size], size: Size, drop: float, given: FeedDrop) -> Curve:
    """Return the share lost by each size of the table."""
    volts = given.system_volts
    lost = tuple((one.mm2, 100 * _drop(one, given) / volts) for one in sizes)
    return Curve(
        Axis("cross-section", "mm2", "log"), Axis("share of the system volts lost", "%", "log"),
        (CurveLine("by size", lost),
         limit("limit", lost[0][0], lost[-1][0], given.limit_percent)),
        (CurveMark("this wire", size.mm2, 100 * drop / volts),),
    )  # fmt: skip


FEED_DROP = Sum(
    id="feed-drop",
    title="Volts lost in a feed",
    tells="What a wire loses on the way, and the smallest size that keeps within a limit.",
    inputs=FeedDrop,
    example={"amperes": 40, "mm2": 2.5, "one_way_metres": 5, "celsius": 80},
    work=_work,
)
