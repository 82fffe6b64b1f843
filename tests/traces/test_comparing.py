"""Two recordings beside each other: only what changed is said to have."""

import json
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result

from api.recordings import invented
from api.recordings.document import TraceChange, changes, document
from api.strict_json import Json
from engine import Diagnoser
from tests.traces.support import text, write_csv


@pytest.fixture(scope="module")
def read(diagnoser: Diagnoser) -> Callable[..., Json]:
    """Give what is read from an invented pull of some amperes, with the noise of a seed."""

    @cache
    def of(amperes: float = 30.0, seed: int = 1, seats: float | None = 0.13) -> Json:
        pull = invented.InventedPull(11.0, amperes, 0.8, 0.0, 0.62, seats)
        rng = np.random.default_rng(seed)
        return document(diagnoser.knowledge, invented.recorded(pull, rng))

    return of


def named(found: list[TraceChange], name: str) -> TraceChange:
    """Return the change of a name."""
    return next(one for one in found if one.name == name)


def test_the_same_pull_twice_has_not_changed(read: Callable[..., Json]) -> None:
    """Fresh noise alone changes nothing."""
    assert not [one for one in changes(read(), read(seed=2)) if one.changed]


def test_what_changed_is_told_with_its_uncertainty(read: Callable[..., Json]) -> None:
    """Twelve amperes less and no seat are changes; the pulse is not."""
    found = changes(read(), read(18.0, 2, None))
    current = named(found, "pull-current")
    assert current.changed
    assert current.difference == pytest.approx(-12, abs=0.3)
    assert current.uncertainty is not None
    assert 0 < current.uncertainty < 1
    assert named(found, "plunger-recorded").changed
    assert not named(found, "pull-pulse-seconds").changed


def test_one_in_a_hundred_is_no_change(read: Callable[..., Json]) -> None:
    """A winding that is two degrees warmer takes as much less."""
    assert not named(changes(read(), read(29.8, 3)), "pull-current").changed


def test_the_command_compares(run: Callable[..., Result], tmp_path: Path) -> None:
    """--beside prints what changed, or gives both answers and the changes as JSON."""
    left = write_csv(tmp_path / "left.csv", text())
    right = write_csv(tmp_path / "right.csv", text(moves=False))
    done = run("trace", left, "--beside", right)
    assert done.exit_code == 0, done.output
    assert "plunger-recorded: seats before, does not seat now." in done.stdout
    found = json.loads(run("trace", left, "--beside", right, "--json").stdout)
    assert set(found) == {"first", "second", "changes"}
    missing = run("trace", left, "--beside", tmp_path / "nowhere.csv")
    assert missing.exit_code == 1
    assert "nowhere.csv" in missing.stderr
