"""Worked cases written from the trade before the engine: the stated cause must lead."""

from collections import Counter
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from api.curation.cases import CaseFiles, WorkedCase, read
from engine.diagnosis import Diagnoser, shipped

TESTS = Path(__file__).parent.parent
NAMES = sorted(path.stem for path in (TESTS / "cases" / "worked").glob("*.yaml"))
TRADE_IDS = yaml.load((TESTS / "knowledge" / "trade_ids.yaml").read_text("utf-8"), yaml.CSafeLoader)
CIRCUITS = {
    ("fuel-shutoff", "ignition-timed"),
    ("fuel-shutoff", "controller-on-crank"),
    ("brake-release", "ignition-timed"),
    ("brake-release", "controller-on-request"),
}
LEAST_CASES_A_CIRCUIT = 12
LEAST_CASES_A_COIL = 25
LEAST_CASES_24_VOLT = 8


@cache
def found() -> CaseFiles:
    """Return what the files hold, read against the shipped base."""
    return read([TESTS / "cases" / "worked"], shipped().knowledge)


def cases() -> dict[str, WorkedCase]:
    """Return every case by its file's stem."""
    return {Path(name).stem: case for name, case in found().of(WorkedCase).items()}


def machines() -> list[Mapping[str, Any]]:
    """Return the machine of every worked case."""
    return [case.request["machine"] for case in cases().values()]


@pytest.mark.parametrize("name", NAMES)
def test_expected_cause_leads(name: str, remembering: Diagnoser) -> None:
    """The cause that an experienced technician would put first leads the answer."""
    case = cases()[name]
    fault = case.fault(remembering.diagnose(case.request)["causes"])
    assert fault is None, case.story


def test_file_stem_is_the_case_identifier() -> None:
    """Every file can be read, and a worked case is found under its own identifier."""
    assert not found().faults
    assert [case.id for case in cases().values()] == NAMES


def test_every_cause_leads_at_least_once() -> None:
    """No cause of the trade's list goes without a worked case.

    A fault that is not in the list has none: what brings it up is in tests/reasoning.
    """
    named = set(TRADE_IDS["causes"]) - {"not-listed"}
    assert named - {case.lead for case in cases().values()} == set()


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
