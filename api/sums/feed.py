"""Volts lost in a feed and its return, and the smallest wire that keeps within a limit."""

from collections.abc import Mapping, Sequence
from typing import Any

from api.sums.current import HIGH_CELSIUS, LOW_CELSIUS
from api.sums.entries import EntrySchema, choice, need_one_of, needed, quantity, refuse
from api.sums.model import Axis, Curve, Figure, Line, Mark, Outcome, Sum, shown
from engine import Knowledge
from engine.calculations.conductor import (
    feed_drop,
    feed_ohms,
    highest_ohms_per_metre,
    smallest_size,
)

AWG = (20, 18, 16, 14, 12, 10, 8)
MM2 = (0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10)
CABLES = ("vehicle", "class-5", "class-2")

Row = Mapping[str, Any]


class FeedDropSchema(EntrySchema):
    """The wire, what flows through it, and what may be lost."""

    amperes = needed("Amperes through the wire.", "A", 0.001, 1000)
    awg = choice("Size by American wire gauge; or give mm2.", AWG, unit="AWG")
    mm2 = choice("Copper cross-section; or give awg.", MM2, unit="mm2")
    cable = choice("Kind of metric cable; its highest ohms by the standard count.", CABLES,
                   "vehicle")  # fmt: skip
    one_way_metres = needed("Length of the feed, one way.", "m", 0.01, 200)
    return_metres = quantity(
        "Length of a return wire of the same size; 0 where it returns through the frame.",
        "m", 0, 200, 0.0,
    )  # fmt: skip
    celsius = quantity("Temperature of the wire.", "C", LOW_CELSIUS, HIGH_CELSIUS, 20.0)
    system_volts = quantity("Volts of the system, of which the loss is a share.", "V", 1, 100, 12.0)
    limit_percent = quantity("What may be lost, in percent of the system volts.", "%", 0.01, 100,
                             5.0)  # fmt: skip


def _key(given: Mapping[str, Any]) -> str:
    """Return the column of ohms per kilometre that counts."""
    if given["awg"] is not None:
        return "ohm_per_km"
    return str(given["cable"]).replace("-", "_") + "_ohm_per_km"


def _rows(knowledge: Knowledge, given: Mapping[str, Any]) -> Sequence[Row]:
    name = "conductors-awg" if given["awg"] is not None else "conductors-metric"
    return knowledge.tables[name].rows


def _label(row: Row) -> str:
    return f"{row['awg']:g} AWG" if "awg" in row else f"{row['mm2']:g} mm2"


def _row(rows: Sequence[Row], given: Mapping[str, Any]) -> Row:
    """Return the row of the size. Raises RequestError where a shop's own table lacks it."""
    column = "awg" if given["awg"] is not None else "mm2"
    for row in rows:
        if row.get(column) == given[column] and row.get(_key(given)) is not None:
            return row
    raise refuse(column, "this size is not in the table of conductors")


def _drop(row: Row, given: Mapping[str, Any]) -> float:
    metres = given["one_way_metres"] + given["return_metres"]
    per_metre = row[_key(given)] / 1000
    return feed_drop(given["amperes"], metres, per_metre, given["celsius"])


def _smallest(rows: Sequence[Row], given: Mapping[str, Any]) -> Row | None:
    """Return the smallest wire of the table that keeps the limit, or None."""
    metres = given["one_way_metres"] + given["return_metres"]
    volts = given["limit_percent"] / 100 * given["system_volts"]
    most = 1000 * highest_ohms_per_metre(given["amperes"], metres, volts, given["celsius"])
    return smallest_size(rows, _key(given), at_most=most)


def _work(knowledge: Knowledge, given: Mapping[str, Any]) -> Outcome:
    need_one_of(given, ("awg", "mm2"))
    rows = _rows(knowledge, given)
    row = _row(rows, given)
    found = _smallest(rows, given)
    drop = _drop(row, given)
    percent = 100 * drop / given["system_volts"]
    return Outcome(
        says=f"{_label(row)} loses {shown(drop, 3)} V, {shown(percent, 3)} % of "
        f"{given['system_volts']:g} V: " + _verdict(percent, row, found, given),
        figures=_figures(row, found, drop, given),
        formula="U = I x length (there and back) x ohm/m at 20 C x (t + 234.5) / 254.5",
        source=f"{knowledge.tables[_table_name(given)].source}; Ohm's law; copper line of "
        "IEC 60034-1 clause 8.6.2 (from memory); 5 %: IEC 60204-1 clause 12.5 (from memory)",
        assumptions=_assumptions(given),
        cautions=(
            "The sum is about volts alone. A wire must also carry the current that its fuse lets "
            "through without harm: take the size from the machine maker's manual.",
        ),
        curve=_curve(rows, row, drop, given),
    )


def _table_name(given: Mapping[str, Any]) -> str:
    return "conductors-awg" if given["awg"] is not None else "conductors-metric"


def _verdict(percent: float, row: Row, found: Row | None, given: Mapping[str, Any]) -> str:
    limit = f"{given['limit_percent']:g} %"
    if found is None:
        return f"over {limit}. No size of the table keeps {limit}; shorten the run."
    if percent > given["limit_percent"] * (1 + 1e-9):
        return f"over {limit}. {_label(found)} is the smallest that keeps it."
    same = _label(found) == _label(row)
    return f"within {limit}." if same else f"within {limit}; {_label(found)} would also keep it."


def _assumptions(given: Mapping[str, Any]) -> tuple[str, ...]:
    back = (
        "The return wire has the same size as the feed."
        if given["return_metres"]
        else "The return through frame and straps is left out: measure it, it is often the worse."
    )
    return (
        back,
        "Joints, fuse, contacts and plugs come on top: the sum is about sound copper alone.",
        "A wire that loses more than the sum says has a bad joint or broken strands.",
    )


def _figures(
    row: Row, found: Row | None, drop: float, given: Mapping[str, Any]
) -> tuple[Figure, ...]:
    volts = given["system_volts"]
    metres = given["one_way_metres"] + given["return_metres"]
    best = None if found is None else _drop(found, given)
    return (
        Figure("drop_volts", "Volts lost", drop, "V"),
        Figure("drop_percent", "Share of the system volts", 100 * drop / volts, "%"),
        Figure("wire_ohms", "Ohms of the wire at its temperature",
               feed_ohms(metres, row[_key(given)] / 1000, given["celsius"]), "ohm"),
        Figure("limit_volts", "Volts that may be lost", given["limit_percent"] / 100 * volts, "V"),
        Figure("smallest_size", "Smallest size that keeps the limit",
               None if found is None else _label(found)),
        Figure("smallest_drop_volts", "Volts that it loses", best, "V"),
    )  # fmt: skip


def _curve(rows: Sequence[Row], row: Row, drop: float, given: Mapping[str, Any]) -> Curve:
    """Return the share lost by each size of the table."""
    volts = given["system_volts"]
    sized = sorted((one for one in rows if one.get(_key(given))), key=lambda one: one["mm2"])
    lost = tuple((float(one["mm2"]), 100 * _drop(one, given) / volts) for one in sized)
    limit = given["limit_percent"]
    ends = ((lost[0][0], limit), (lost[-1][0], limit))
    return Curve(
        Axis("cross-section", "mm2", "log"),
        Axis("share of the system volts lost", "%", "log"),
        (Line("by size", lost), Line("limit", ends, limit=True)),
        (Mark("this wire", float(row["mm2"]), 100 * drop / volts),),
    )


FEED_DROP = Sum(
    id="feed-drop",
    title="Volts lost in a feed",
    tells="What a wire loses on the way, and the smallest size that keeps within a limit.",
    schema=FeedDropSchema(),
    example={"amperes": 40, "mm2": 2.5, "one_way_metres": 5, "celsius": 80},
    work=_work,
)
