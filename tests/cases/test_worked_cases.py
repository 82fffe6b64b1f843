"""Worked cases written from the trade before the engine: the stated cause must lead."""

from collections import Counter
from pathlib import Path
from typing import Any

import pytest
import yaml

import engine

TESTS = Path(__file__).parent.parent
FILES = sorted((TESTS / "cases" / "worked").glob("*.yaml"))
CASES: dict[str, dict[str, Any]] = {
    path.stem: yaml.safe_load(path.read_text(encoding="utf-8")) for path in FILES
}
TRADE_IDS = yaml.safe_load((TESTS / "knowledge" / "trade_ids.yaml").read_text(encoding="utf-8"))
CIRCUITS = {
    ("fuel-shutoff", "ignition-timed"),
    ("fuel-shutoff", "controller-on-crank"),
    ("brake-release", "ignition-timed"),
    ("brake-release", "controller-on-request"),
}
LEAST_SHARE_OF_FIRST = 0.5
LEAST_CASES_A_CIRCUIT = 12
LEAST_CASES_A_COIL = 25
LEAST_CASES_24_VOLT = 8


def machines() -> list[dict[str, Any]]:
    """Return the machine of every worked case."""
    return [case["request"]["machine"] for case in CASES.values()]


def leads(answer: dict[str, Any], cause: str) -> bool:
    """Say whether a cause is first, or shares the first's group at half its probability or more."""
    first = answer["causes"][0]
    found = next((item for item in answer["causes"] if item["id"] == cause), None)
    if found is None or first["id"] == cause:
        return found is not None
    enough = found["probability"] >= LEAST_SHARE_OF_FIRST * first["probability"]
    return bool(enough and found["group"] == first["group"])


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_expected_cause_leads(case: dict[str, Any]) -> None:
    """The cause that an experienced technician would put first leads the answer."""
    answer = engine.diagnose(case["request"])
    ranking = [(item["id"], round(item["probability"], 3)) for item in answer["causes"]]
    assert leads(answer, case["expect"]["lead"]), f"{case['story']} {ranking}"


@pytest.mark.parametrize("name", CASES)
def test_file_stem_is_the_case_identifier(name: str) -> None:
    """A worked case is found under its own identifier."""
    assert CASES[name]["id"] == name


def test_every_cause_leads_at_least_once() -> None:
    """No cause of the trade's list goes without a worked case."""
    named = set(TRADE_IDS["causes"])
    assert named - {case["expect"]["lead"] for case in CASES.values()} == set()


def test_every_circuit_has_its_share_of_cases() -> None:
    """Each of the four circuits is worked at least a dozen times."""
    counts = Counter((machine["duty"], machine["control"]) for machine in machines())
    assert set(counts) == CIRCUITS
    assert min(counts.values()) >= LEAST_CASES_A_CIRCUIT


def test_both_coil_styles_and_24_volts_are_covered() -> None:
    """Either coil style has 25 cases at least, and 24 volt machines have eight."""
    coils = Counter(machine["coil"] for machine in machines())
    assert min(coils["case-ground"], coils["body-ground"]) >= LEAST_CASES_A_COIL
    volts = Counter(machine.get("system_volts", 12) for machine in machines())
    assert volts[24] >= LEAST_CASES_24_VOLT
