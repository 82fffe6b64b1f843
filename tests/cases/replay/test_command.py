"""``threewire replay``: a table, JSON and CSV of the same run."""

import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from api.cases import Book
from api.cases.replay.writing import COLUMNS
from api.cli.main import threewire
from tests.cases.replay.conftest import HISTORY
from tests.curation.shop import Shop


@pytest.fixture
def run(book: Book, shop: Shop) -> Callable[..., Result]:
    """Run the command on the store, under a base with another share for one cause."""
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


def test_json_and_csv_say_the_same(run: Callable[..., Result], tmp_path: Path) -> None:
    """The document has every case and the totals; the file has the same cases in the same order."""
    file = tmp_path / "report.csv"
    done = run("--json", "--csv", file)
    found = json.loads(done.stdout)
    with file.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert tuple(rows[0]) == COLUMNS
    assert [row["case"] for row in rows] == [case["case"] for case in found["cases"]]
    assert [row["rank_after"] for row in rows] == [
        str(case["after"]["rank"] or "") for case in found["cases"]
    ]
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


@pytest.mark.parametrize(
    ("arguments", "status"), [(("--csv", "/nowhere/x.csv"), 1), (("--jobs", "2", "--dask", "x"), 2)]
)
def test_what_cannot_be_done_is_told(
    run: Callable[..., Result], arguments: tuple[str, ...], status: int
) -> None:
    """A file that cannot be written and two ways at once are refused before anything is done."""
    done = run(*arguments)
    assert done.exit_code == status
    assert not done.stdout
