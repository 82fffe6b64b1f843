"""The published tables hold the printed values, and every row names its source."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

TABLES = Path(__file__).parents[2] / "kb" / "tables"

Table = Callable[[str], list[dict[str, Any]]]

OURS = [
    "battery-state",
    "blade-fuses",
    "conductors-awg",
    "conductors-metric",
    "copper",
    "relay-typical",
    "supply-levels",
    "terminals",
    "thermal-classes",
]

TERMINALS = [
    # terminal, a word of its meaning; DIN 72552, and what micro relays have on them
    ("1", "coil"),
    ("2", "coil"),
    ("3", "common"),
    ("4", "break contact"),
    ("5", "make contact"),
    ("15", "ignition"),
    ("30", "battery"),
    ("31", "ground"),
    ("50", "start"),
    ("85", "coil"),
    ("86", "coil"),
    ("87", "make contact"),
    ("87a", "break contact"),
]

WORKING_RANGES = [
    # class, system volts, low, high; ISO 16750-2:2012, A E F read, the rest from memory
    ("class-a", 12, 6, 16),
    ("class-b", 12, 8, 16),
    ("class-c", 12, 9, 16),
    ("class-d", 12, 10.5, 16),
    ("class-e", 24, 10, 32),
    ("class-f", 24, 16, 32),
    ("class-g", 24, 22, 32),
    ("class-h", 24, 18, 32),
]

STARTING = [
    # profile, first volts, then volts, for seconds; ISO 16750-2:2012
    ("starting-12-v-i", 8, 9.5, 1),
    ("starting-24-v-iii", 6, 10, None),
]

DROPS = [
    # row, key, value, source
    ("machine-electrics", "highest_share", 0.05, "IEC 60204-1 clause 12.5, from memory"),
    ("connection", "highest_volts", 0.1, "common practice"),
    ("switch", "highest_volts", 0.3, "common practice, 0.2 to 0.3 V"),
    ("circuit", "highest_volts", 0.5, "common practice"),
]


@pytest.mark.parametrize("name", OURS)
def test_table_is_well_formed(name: str) -> None:
    """A table's stem is its id, it has title, source and rows, and each row names its source."""
    found = yaml.safe_load((TABLES / f"{name}.yaml").read_text(encoding="utf-8"))
    assert list(found) == ["id", "title", "source", "rows"]
    assert found["id"] == name
    assert all(row["source"].strip() for row in found["rows"])


@pytest.mark.parametrize(("terminal", "word"), TERMINALS)
def test_terminals(terminal: str, word: str, table: Table) -> None:
    """Each terminal number has the meaning that DIN 72552 or a micro relay's body gives it."""
    meanings = {row["terminal"]: row["meaning"] for row in table("terminals")}
    assert word in meanings[terminal]
    assert len(meanings) == len(TERMINALS)


def test_relay_body_common(table: Table) -> None:
    """On an ISO relay body 30 is the common of the contact (ISO 7588-1:1998)."""
    row = next(row for row in table("terminals") if row["terminal"] == "30")
    assert "common" in row["meaning"]
    assert "ISO 7588-1:1998" in row["source"]


@pytest.mark.parametrize(("name", "system", "low", "high"), WORKING_RANGES)
def test_working_ranges(name: str, system: int, low: float, high: float, table: Table) -> None:
    """The supply classes of ISO 16750-2:2012 are held, those from memory marked so."""
    row = next(row for row in table("supply-levels") if row["id"] == name)
    assert (row["system_volts"], row["low_volts"], row["high_volts"]) == (system, low, high)
    assert ("from memory" in row["source"]) == (name[-1] not in "aef")


@pytest.mark.parametrize(("name", "first", "then", "seconds"), STARTING)
def test_starting_profiles(
    name: str, first: float, then: float, seconds: float | None, table: Table
) -> None:
    """The starting profiles of ISO 16750-2:2012 are held."""
    row = next(row for row in table("supply-levels") if row["id"] == name)
    assert (row["first_volts"], row["then_volts"]) == (first, then)
    assert row.get("then_seconds") == seconds


@pytest.mark.parametrize(("name", "key", "value", "source"), DROPS)
def test_drops(name: str, key: str, value: float, source: str, table: Table) -> None:
    """The drops that are let pass carry their value and whether a standard stands behind it."""
    row = next(row for row in table("supply-levels") if row["id"] == name)
    assert (row[key], row["source"]) == (value, source)


def test_relay_coil_current(table: Table) -> None:
    """A 90 ohm +-10 % coil draws 133.3 mA at 12 V, 121.2 to 148.1 mA (makers' data, calculated)."""
    rows = {row["id"]: row for row in table("relay-typical")}
    coil, current = rows["coil-resistance"], rows["coil-current"]
    assert (coil["value"], coil["low"], coil["high"]) == (90, 81, 99)
    assert current["value"] == pytest.approx(12 / coil["value"], abs=5e-5)
    assert current["low"] == pytest.approx(12 / coil["high"], abs=5e-5)
    assert current["high"] == pytest.approx(12 / coil["low"], abs=5e-5)


def test_relay_voltages(table: Table) -> None:
    """A typical 12 V coil operates by 7.2 V and releases by 1.2 to 1.6 V (makers' data)."""
    rows = {row["id"]: row for row in table("relay-typical")}
    assert rows["operate-voltage"]["value"] == 7.2
    assert (rows["release-voltage"]["low"], rows["release-voltage"]["high"]) == (1.2, 1.6)
