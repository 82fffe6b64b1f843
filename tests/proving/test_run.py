"""The whole run, small: figures, determinism, the command."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from engine import Diagnoser
from tests.proving import bound, run, table
from tests.proving.__main__ import prove
from tests.proving.kits import KITS
from tests.proving.roughness import ROUGH, SMOOTH

COUNT, SEEDS = 2, (4, 5)  # of the machines of each seed the first is played
MACHINES = COUNT * len(SEEDS)


@pytest.fixture(scope="module")
def results(diagnoser: Diagnoser) -> run.Results:
    """Return a run of a few machines of two seeds, of which one each is played."""
    run._worker["diagnoser"] = diagnoser  # this process has one already
    return run.prove(COUNT, SEEDS, played=1)


def test_every_machine_with_every_kit(results: run.Results) -> None:
    """Each machine gives a scored answer a kit, and each that is played a call a strategy."""
    assert results.machines == MACHINES
    assert len(results.scored) == MACHINES * len(KITS)
    assert {name: len(calls) for name, calls in results.played.items()} == dict.fromkeys(
        run.STRATEGIES, len(SEEDS)
    )


def test_figures_hold_together(results: run.Results) -> None:
    """Shares lie in their intervals, nobody beats the right repair alone, listed causes covered."""
    data = run.as_data(results)
    for one in data["kits"].values():
        for name in ("first", "first_or_tied", "first_three", "unsafe", "uncovered"):
            share = one[name]
            assert 0 <= share["low"] <= share["share"] <= share["high"] <= 1
        low, high = one["calibration_interval"]
        assert 0 <= low <= high <= 1
        assert one["first"]["share"] <= one["first_or_tied"]["share"] <= one["first_three"]["share"]
        assert all(one["groups"][group]["uncovered"]["share"] == 0
                   for group in set(one["groups"]) - {"not-listed"})  # fmt: skip
        assert one["unsafe_words"] == []
    floor = data["strategies"]["repair-alone"]["minutes"]
    assert all(one["minutes"] >= floor for one in data["strategies"].values())


def test_more_checks_help(results: run.Results) -> None:
    """With every check done the log loss is below that of asking alone."""
    kits = run.as_data(results)["kits"]
    assert kits["all"]["log_loss"] < kits["ask"]["log_loss"] < kits["ask"]["uniform"][1]


def test_groups_are_reported_apart_and_together(results: run.Results) -> None:
    """The machines of the groups add up to all machines, in answers and in calls."""
    data = run.as_data(results)
    for one in data["kits"].values():
        assert sum(mine["machines"] for mine in one["groups"].values()) == one["machines"]
        assert one["machines"] == MACHINES
    groups = {one.group for one in results.played["advice"]}
    assert set(data["strategies"]["advice"]["groups"]) == groups


def test_bound_of_the_first_time_fix(results: run.Results) -> None:
    """Without a classifier the bound is how often one listed fault leads with every check done.

    The table prints it with the strategies; without that kit there is none.
    """
    data = run.as_data(results)
    single = [row for row in results.scored if row.kit == "all" and row.group == "single"]
    led = sum(row.place == 1 for row in single)
    assert data["first_time_bound"]["share"] == pytest.approx(led / len(single), abs=1e-4)
    assert any(line.startswith("  bound for") for line in table.lines(data))
    few = run.Results(
        MACHINES, SEEDS, [row for row in results.scored if row.kit == "ask"], results.played
    )
    assert "first_time_bound" not in run.as_data(few)
    assert not any(line.startswith("  bound for") for line in table.lines(run.as_data(few)))


def test_classifier_learns_once_and_is_asked_about_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows of one process are those of another piece of work; what was learned from is kept."""
    pytest.importorskip("sklearn")
    monkeypatch.setattr(bound, "TREES", 60)
    kits = ("ask",)
    calls: list[int] = []

    def work(jobs: list[bound.Job]) -> list[bound.Table]:
        calls.append(len(jobs))
        return [bound.rows(job) for job in jobs]

    learned = bound.trained_on(ROUGH, kits, tmp_path, work, train=80)
    again = bound.trained_on(ROUGH, kits, tmp_path, work, train=80)
    assert calls == [2]  # 50 and 30 machines, once
    assert all((learned[name] == again[name]).all() for name in learned)
    pieces = bound.joined([bound.rows((start, 5, 1001, ROUGH, kits)) for start in (0, 5)])
    assert (pieces["ask"] == learned["ask"][:10]).all()
    found = bound.estimate(learned, pieces, "ask")
    assert found["all"]["first"]["share"] > 0.5  # asked about what it learned
    taught = bound.estimate(learned, learned, "ask")
    assert taught["not_listed"]["true_first"] == taught["not-listed"]["first"]
    assert taught["not_listed"]["false_believed"]["share"] == 0
    assert bound.fingerprint(ROUGH, kits, 9) != bound.fingerprint(SMOOTH, kits, 9)


@pytest.mark.live  # starts processes
def test_same_seed_same_figures(results: run.Results) -> None:
    """A second run, in two processes, gives the same figures."""
    again = run.prove(COUNT, SEEDS, jobs=2, played=1)
    assert json.dumps(run.as_data(again)) == json.dumps(run.as_data(results))


def test_seeds_are_pooled(results: run.Results) -> None:
    """Two seeds at once give the rows of each, as it gives them alone."""
    alone = run.prove(1, SEEDS[1:], played=0)
    assert alone.played == {}
    start = COUNT * len(KITS)
    assert alone.scored == results.scored[start : start + len(KITS)]
    assert table.lines(run.as_data(results))[0] == f"{MACHINES} simulated machines, seed 4, 5"


def test_table_names_every_kit(results: run.Results) -> None:
    """The table has a part for each kit and a line for each strategy."""
    text = "\n".join(table.lines(run.as_data(results)))
    for words in (*table.KIT_WORDS.values(), *table.STRATEGY_WORDS.values()):
        assert words in text


@pytest.mark.usefixtures("results")  # this process has an engine then
def test_command_prints_json_and_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The command prints its figures as JSON and writes them, plots only with the extra."""

    def without(*_: object) -> None:
        raise bound.MissingExtraError

    monkeypatch.setattr("tests.proving.plots.write", without)
    done = CliRunner().invoke(
        prove, ["--machines", "2", "--kit", "ask", "--played", "0", "--jobs", "1", "--json",
                "--out", str(tmp_path)],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "no plots" in done.stderr
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
