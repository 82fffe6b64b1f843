"""``kb matrix``: the table on the terminal."""

from collections.abc import Callable

import pytest
from click.testing import Result

from api.curation.matrix import matrix, sign
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
    found = matrix(survey, machine)
    assert set(found.causes) == set(separation.causes) - {HEALTHY}
    for row, name in enumerate(found.checks):
        for column, cause in enumerate(found.causes):
            assert found.decibans[row, column] == separation.at(name, cause, HEALTHY)


def test_nearest_compares_each_cause_with_its_own_rival(survey: Survey) -> None:
    """Against its nearest rival no check says more than the best of all does."""
    machine = machines(survey.knowledge)[0]
    separation = survey.of(machine)
    found = matrix(survey, machine, "nearest")
    for column, cause in enumerate(found.causes):
        best = separation.rivals(cause)[0][1]
        assert found.decibans[:, column].max() == pytest.approx(best)


@pytest.mark.parametrize(
    ("decibans", "wanted"), [(0, " "), (1, "."), (5, "+"), (10, "*"), (99, "#")]
)
def test_signs(decibans: float, wanted: str) -> None:
    """More decibans get a heavier sign."""
    assert sign(decibans) == wanted


@pytest.mark.parametrize(
    ("options", "status", "says"),
    [
        (("--against", "ground-opn"), 1, "did you mean 'ground-open'?"),
        (("--against", "brake-lock-missing"), 1, "cannot occur"),
        (("--circuit", "nowhere"), 1, "unknown circuit"),
    ],
)
def test_bad_options(run: Run, options: tuple[str, ...], status: int, says: str) -> None:
    """A wrong cause or circuit is told before anything is drawn."""
    done = run("kb", "matrix", *CIRCUIT, *options)
    assert done.exit_code == status
    assert says in done.stderr
