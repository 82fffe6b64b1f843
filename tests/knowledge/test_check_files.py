"""The files of kb/checks, read as plain YAML: shape, order, shares, instruments and hazards.

These facts hold whatever the engine's loader does, so a slip in the loader cannot hide one.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from engine.knowledge.text import load_yaml

KB = Path(__file__).parents[2] / "kb"
FILES = sorted((KB / "checks").glob("*.yaml"))
UNIT_OF_QUANTITY = {"voltage": "V", "current": "A", "resistance": "ohm", "seconds": "s"}


def content(path: Path) -> dict[str, Any]:
    """Return what a knowledge file holds."""
    item = load_yaml(path.read_text(encoding="utf-8"), path.name)
    assert isinstance(item, dict)
    return item


CHECKS = {path.stem: content(path) for path in FILES}
READINGS = {stem: check for stem, check in CHECKS.items() if "unit" in check["result"]}
OUTCOMES = {stem: check for stem, check in CHECKS.items() if "outcomes" in check["result"]}


def rows(table: str) -> dict[str, dict[str, Any]]:
    """Return the rows of a table of kb/tables by their id."""
    return {row["id"]: row for row in content(KB / "tables" / f"{table}.yaml")["rows"]}


def leaves(node: dict[str, Any]) -> Iterator[dict[str, float]]:
    """Yield the distributions at the ends of an outcome tree."""
    if "if" not in node:
        yield node
        return
    assert list(node) == ["if", "then", "else"]
    yield from leaves(node["then"])
    yield from leaves(node["else"])


def distributions(check: dict[str, Any]) -> list[dict[str, float]]:
    """Return every distribution of an outcome check: the ends of its trees, by cause too."""
    predicted = check["predicted_by"]
    trees = [*predicted.get("given", {}).values(), predicted["otherwise"]]
    return [leaf for tree in trees for leaf in leaves(tree)]


def test_every_outcome_is_a_word_that_a_caller_can_be_asked() -> None:
    """Outcomes are text, not YAML booleans, each has a caller's words, and each can come about."""
    for stem, check in OUTCOMES.items():
        declared = check["result"]["outcomes"]
        assert all(isinstance(outcome, str) for outcome in declared), stem
        assert list(check["outcome_words"]) == declared, stem
        reachable = {name for each in distributions(check) for name, share in each.items() if share}
        assert reachable == set(declared), stem


def test_a_reading_is_taken_with_a_meter_that_reads_its_unit() -> None:
    """A reading's instrument is in the table of instruments, in the unit of its quantity."""
    meters = rows("instruments")
    for stem, check in READINGS.items():
        meter, result = meters[check["instrument"]], check["result"]
        assert result["unit"] == UNIT_OF_QUANTITY[check["predicted_by"]["quantity"]], stem
        assert result["unit"] == meter["unit"], stem
        assert meter["low"] <= result["low"] < result["high"] <= meter["high"], stem


def test_a_reading_carries_the_hazard_of_its_kind() -> None:
    """Ohms are taken dead and say so; volts, amperes and seconds are live work and say so."""
    for stem, check in READINGS.items():
        predicted = check["predicted_by"]
        ohms = predicted["quantity"] == "resistance"
        assert ("ohms" if ohms else "live") in check["hazards"], stem
        if ohms:
            assert (predicted["phase"], predicted["plug"]) == ("off", "removed"), stem
            assert "plug off" in check["say"], stem
            assert "key off" in check["how"].lower(), stem


@pytest.mark.parametrize(
    "stem", ["plunger-by-hand", "plunger-return", "plunger-travel", "hand-push-hold"]
)
def test_plunger_work_by_hand_warns_of_the_brake_and_the_fuel(stem: str) -> None:
    """A plunger pushed by hand moves hard, lets a brake go or opens the fuel: all are said."""
    assert {"plunger", "releases-brake", "opens-fuel"} <= set(CHECKS[stem]["hazards"])
    assert "chock first" in CHECKS[stem]["how"].lower()


def test_circumstance_tags_are_the_closed_set() -> None:
    """The tags that a person may note beside a finding are the agreed 26, each with a meaning."""
    tags = rows("circumstances")
    assert len(tags) == 26
    assert all(row["meaning"].endswith(".") for row in tags.values())
