"""``threewire replay``: a table and JSON of the same run."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from api.cases import Book
from api.cases.replay import spread
from api.cli.main import threewire
from engine import Diagnoser, Knowledge
from tests.cases.replay.conftest import HISTORY
from tests.curation.shop import Shop

ENGINES: dict[str, Diagnoser] = {}


def _once(knowledge: Knowledge) -> Diagnoser:
    """Return the engine of a base, the same for each run under it."""
    if knowledge.version not in ENGINES:
        ENGINES[knowledge.version] = Diagnoser(knowledge)
    return ENGINES[knowledge.version]


@pytest.fixture
def run(book: Book, shop: Shop, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """Run the command on the store, under a base with another share for one cause."""
    monkeypatch.setattr(spread, "diagnoser_of", _once)
    shop.put("causes/relay-contacts-open.yaml", shop.like("causes", "relay-contacts-open") | {
        "share": 200,
    })  # fmt: skip
    url = book.database.url.render_as_string(hide_password=False)

    def call(*arguments: str | Path) -> Result:
        options = ["--database", url, "--kb", str(shop.folder)]
        return CliRunner().invoke(threewire, ["replay", *map(str, arguments), *options])

    return call


def test_table_shows_what_changed_and_the_totals(run: Callable[..., Result]) -> None:
    """A line for each case that is better or worse, and the sums below."""
    done = run()
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert [
        line.split()[2:4]
        for line in lines
        if line.split()[2:4] == ["better", "relay-contacts-open"]
    ]
    assert f"{len(HISTORY)} closed cases" in done.stdout
    assert f"of {len(HISTORY) - 1}" in done.stdout
    assert max(map(len, lines)) < 140
    assert len(run("--all").stdout.splitlines()) > len(lines)


def test_the_document_has_every_case(run: Callable[..., Result]) -> None:
    """The document has every case and the totals."""
    found = json.loads(run("--json").stdout)
    assert len(found["cases"]) == len(HISTORY)
    counted = [case["change"] for case in found["cases"]].count("better")
    assert found["totals"]["better"] == counted > 0
    assert found["totals"]["cases"] == len(HISTORY)


@pytest.mark.live  # starts processes
def test_jobs_change_nothing(run: Callable[..., Result]) -> None:
    """The report is the same bytes with one process and with two."""
    assert run("--json").stdout == run("--json", "--jobs", "2").stdout


def test_an_empty_history_is_a_report(database_url: str) -> None:
    """Without closed cases there are totals of nothing, as text and as JSON."""
    url, runner = database_url, CliRunner()
    runner.invoke(threewire, ["db", "upgrade", "--database", url])
    assert "0 closed cases" in runner.invoke(threewire, ["replay", "--database", url]).stdout
    found = json.loads(runner.invoke(threewire, ["replay", "--json", "--database", url]).stdout)
    assert found["cases"] == []
    assert found["totals"]["cases"] == 0


def test_two_ways_at_once_are_refused(run: Callable[..., Result]) -> None:
    """``--jobs`` and ``--dask`` exclude each other: nothing is done."""
    done = run("--jobs", "2", "--dask", "x")
    assert (done.exit_code, done.stdout) == (2, "")
