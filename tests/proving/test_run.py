"""The whole run, small: figures, determinism, the command."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.proving import run, table
from tests.proving.__main__ import prove
from tests.proving.kits import KITS


@pytest.fixture(scope="module")
def results() -> run.Results:
    """Return a run of eight machines."""
    return run.prove(8, 4)


def test_every_machine_with_every_kit(results: run.Results) -> None:
    """Eight machines with four kits give 32 scored answers and eight calls a strategy."""
    assert len(results.scored) == 8 * len(KITS)
    assert {name: len(calls) for name, calls in results.played.items()} == dict.fromkeys(
        run.STRATEGIES, 8
    )


def test_figures_hold_together(results: run.Results) -> None:
    """Shares lie in their intervals, nobody beats the right repair alone, all causes covered."""
    data = run.as_data(results)
    for one in data["kits"].values():
        for name in ("first", "first_or_tied", "first_three", "unsafe", "uncovered"):
            share = one[name]
            assert 0 <= share["low"] <= share["share"] <= share["high"] <= 1
        assert one["first"]["share"] <= one["first_or_tied"]["share"] <= one["first_three"]["share"]
        assert one["uncovered"]["share"] == 0
        assert one["unsafe_words"] == []
    floor = data["strategies"]["repair-alone"]["minutes"]
    assert all(one["minutes"] >= floor for one in data["strategies"].values())


def test_more_checks_help(results: run.Results) -> None:
    """With every check done the log loss is below that of asking alone."""
    kits = run.as_data(results)["kits"]
    assert kits["all"]["log_loss"] < kits["ask"]["log_loss"] < kits["ask"]["uniform"][1]


def test_bound_of_the_first_time_fix(results: run.Results) -> None:
    """The bound is the share whose true cause leads with every check done; without that kit none.

    The table prints it with the strategies.
    """
    data = run.as_data(results)
    led = sum(row.place == 1 for row in results.scored if row.kit == "all")
    assert data["first_time_bound"]["share"] == pytest.approx(led / 8, abs=1e-4)
    assert any(line.startswith("  bound:") for line in table.lines(data))
    few = run.Results(8, 4, [row for row in results.scored if row.kit == "ask"], results.played)
    assert "first_time_bound" not in run.as_data(few)
    assert not any(line.startswith("  bound:") for line in table.lines(run.as_data(few)))


def test_same_seed_same_figures(results: run.Results) -> None:
    """A second run in two processes gives the same figures."""
    again = run.prove(8, 4, jobs=2)
    assert json.dumps(run.as_data(again)) == json.dumps(run.as_data(results))


def test_table_names_every_kit(results: run.Results) -> None:
    """The table has a part for each kit and a line for each strategy."""
    text = "\n".join(table.lines(run.as_data(results)))
    for words in (*table.KIT_WORDS.values(), *table.STRATEGY_WORDS.values()):
        assert words in text


def test_command_prints_json_and_writes(tmp_path: Path) -> None:
    """The command prints its figures as JSON and writes them, plots only with the extra."""
    done = CliRunner().invoke(
        prove, ["--machines", "2", "--kit", "ask", "--no-play", "--jobs", "1", "--json",
                "--out", str(tmp_path)],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["kits"]["ask"]["machines"] == 2
    assert json.loads((tmp_path / "figures.json").read_text())["machines"] == 2


def test_plots(results: run.Results, tmp_path: Path) -> None:
    """With the extra installed there are three plots, each as PNG and SVG."""
    pytest.importorskip("matplotlib")
    from tests.proving import plots

    written = plots.write(results, run.as_data(results), tmp_path)
    assert sorted(place.name for place in written) == sorted(
        f"{name}.{ending}" for name in ("reliability", "ranking", "minutes")
        for ending in ("png", "svg")
    )  # fmt: skip
    assert all(place.stat().st_size > 1000 for place in written)
