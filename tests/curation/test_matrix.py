"""``kb matrix``: the table on the terminal."""

from collections.abc import Callable

import pytest
from click.testing import Result

from api.curation.predictions import sign
from engine.audit.separation import Survey, machines
from engine.physics.model import HEALTHY

Run = Callable[..., Result]
CIRCUIT = ("--circuit", "fuel-shutoff-ignition-timed")


def test_table_has_a_row_for_each_check(run: Run, survey: Survey) -> None:
    """Every check of the circuit has a row, and every cause but the one compared with a column."""
    done = run("kb", "matrix", *CIRCUIT)
    assert done.exit_code == 0, done.stderr
    machine = next(
        one for one in machines(survey.knowledge)
        if (one.duty, one.control, one.coil) == ("fuel-shutoff", "ignition-timed", "case-ground")
    )  # fmt: skip
    separation = survey.of(machine)
    rows = {line.split(" ")[0]: line for line in done.stdout.splitlines()}
    assert set(separation.checks) <= set(rows)
    width = max(len(name) for name in separation.checks) + 2
    assert all(len(rows[name]) - width <= len(separation.causes) - 1 for name in separation.checks)
    causes = [name for name in separation.causes if name != HEALTHY]
    for name in separation.checks:
        signs = [sign(separation.at(name, cause, HEALTHY)) for cause in causes]
        assert rows[name] == f"{name:{width}}{''.join(signs)}".rstrip()


@pytest.mark.parametrize(
    ("decibans", "wanted"), [(0, " "), (1, "."), (5, "+"), (10, "*"), (99, "#")]
)
def test_signs(decibans: float, wanted: str) -> None:
    """More decibans get a heavier sign."""
    assert sign(decibans) == wanted


def test_bad_options(run: Run) -> None:
    """A wrong circuit is told before anything is drawn."""
    done = run("kb", "matrix", "--circuit", "nowhere")
    assert done.exit_code == 1
    assert "unknown circuit" in done.stderr
