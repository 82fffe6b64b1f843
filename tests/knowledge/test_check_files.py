"""The files of kb/checks, read as plain YAML: shape, order, shares, instruments and hazards.

These facts hold whatever the engine's loader does, so a slip in the loader cannot hide one.
"""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

KB = Path(__file__).parents[2] / "kb"
FILES = sorted((KB / "checks").glob("*.yaml"))
HEAD = ["id", "name", "kind", "applies", "shared_between_sides", "minutes", "setup", "result"]
READING = ["predicted_by", "repeatability", "instrument"]
OUTCOME = ["predicted_by", "slip", "outcome_words"]
TAIL = ["say", "how", "why", "hazards", "commanded", "source"]
UNIT_OF_QUANTITY = {"voltage": "V", "current": "A", "resistance": "ohm", "seconds": "s"}


def content(path: Path) -> dict[str, Any]:
    """Return what a knowledge file holds."""
    item = yaml.safe_load(path.read_text(encoding="utf-8"))
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
    """Return every distribution of an outcome check: its rows by cause and its tree's ends."""
    predicted = check["predicted_by"]
    return [*predicted.get("given", {}).values(), *leaves(predicted["otherwise"])]


@pytest.mark.parametrize("stem", CHECKS)
def test_stem_is_the_id_and_keys_stand_in_order(stem: str) -> None:
    """A check's file is named after its id, and its keys stand in the one agreed order."""
    check = CHECKS[stem]
    assert check["id"] == stem
    order = HEAD + (READING if stem in READINGS else OUTCOME) + TAIL
    assert list(check) == [key for key in order if key != "commanded" or "commanded" in check]


@pytest.mark.parametrize("stem", OUTCOMES)
def test_shares_sum_to_one_over_declared_outcomes(stem: str) -> None:
    """Every distribution of an outcome check sums to 1 and names only declared outcomes."""
    declared = set(OUTCOMES[stem]["result"]["outcomes"])
    for shares in distributions(OUTCOMES[stem]):
        assert set(shares) <= declared
        assert all(0 <= share <= 1 for share in shares.values())
        assert math.isclose(sum(shares.values()), 1.0, abs_tol=1e-9), shares


@pytest.mark.parametrize("stem", OUTCOMES)
def test_every_outcome_is_a_word_that_a_caller_can_be_asked(stem: str) -> None:
    """Outcomes are text, not YAML booleans, each has a caller's words, and each can come about."""
    check = OUTCOMES[stem]
    declared = check["result"]["outcomes"]
    assert all(isinstance(outcome, str) for outcome in declared)
    assert list(check["outcome_words"]) == declared
    reachable = {name for each in distributions(check) for name, share in each.items() if share}
    assert reachable == set(declared)


@pytest.mark.parametrize("stem", OUTCOMES)
def test_rows_by_cause_name_causes_that_exist(stem: str) -> None:
    """A row given for a cause names a file of kb/causes."""
    given = OUTCOMES[stem]["predicted_by"].get("given", {})
    assert [c for c in given if not (KB / "causes" / f"{c.split('/')[0]}.yaml").exists()] == []


@pytest.mark.parametrize("stem", READINGS)
def test_a_reading_is_taken_with_a_meter_that_reads_its_unit(stem: str) -> None:
    """A reading's instrument is in the table of instruments, in the unit of its quantity."""
    check = READINGS[stem]
    meter = rows("instruments")[check["instrument"]]
    assert check["result"]["unit"] == UNIT_OF_QUANTITY[check["predicted_by"]["quantity"]]
    assert check["result"]["unit"] == meter["unit"]
    assert meter["low"] <= check["result"]["low"] < check["result"]["high"] <= meter["high"]


@pytest.mark.parametrize("stem", READINGS)
def test_a_reading_carries_the_hazard_of_its_kind(stem: str) -> None:
    """Ohms are taken dead and say so; volts, amperes and seconds are live work and say so."""
    check = READINGS[stem]
    ohms = check["predicted_by"]["quantity"] == "resistance"
    assert ("ohms" if ohms else "live") in check["hazards"]
    if ohms:
        assert (check["predicted_by"]["phase"], check["predicted_by"]["plug"]) == ("off", "removed")
        assert "plug off" in check["say"]
        assert "key off" in check["how"].lower()


@pytest.mark.parametrize(
    "stem", ["plunger-by-hand", "plunger-return", "plunger-travel", "hand-push-hold"]
)
def test_plunger_work_by_hand_warns_of_the_brake_and_the_fuel(stem: str) -> None:
    """A plunger pushed by hand moves hard, lets a brake go or opens the fuel: all are said."""
    assert {"plunger", "releases-brake", "opens-fuel"} <= set(CHECKS[stem]["hazards"])
    assert "chock first" in CHECKS[stem]["how"].lower()


def test_no_text_offers_a_larger_fuse() -> None:
    """A larger fuse is named only to forbid it."""
    for stem, check in CHECKS.items():
        for sentence in f"{check['say']} {check['how']}".split("."):
            if "larger" in sentence:
                assert "ever" in sentence or "not" in sentence, stem


def test_circumstance_tags_are_the_closed_set() -> None:
    """The tags that a person may note beside a finding are the agreed 26, each with a meaning."""
    tags = rows("circumstances")
    assert len(tags) == 26
    assert all(row["meaning"].endswith(".") for row in tags.values())
