"""``threewire db``: copies, cases out and in, persons out; each as an administrator types it."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from api.store import Database
from tests.databases import set_up
from tests.store.test_copying import fill, rows

Run = Callable[..., Result]


@pytest.fixture
def url(tmp_path: Path) -> str:
    """The URL of a store with a case and a key."""
    database = set_up(f"sqlite:///{tmp_path}/store.sqlite3")
    fill(database)
    database.close()
    return f"sqlite:///{tmp_path}/store.sqlite3"


@pytest.fixture
def db(run: Run, url: str) -> Run:
    """Run ``threewire db`` on that store."""

    def call(*words: str, stdin: str | None = None) -> Result:
        return run("db", *words, "--database", url, stdin=stdin)

    return call


def test_a_backup_is_made_once(db: Run, run: Run, tmp_path: Path) -> None:
    """The file is a store; a second time it is there already, and stays as it is."""
    file = tmp_path / "copy.sqlite3"
    assert db("backup", str(file)).exit_code == 0
    again = db("backup", str(file))
    assert (again.exit_code, "there already" in again.output) == (1, True)
    assert run("db", "status", "--database", f"sqlite:///{file}").exit_code == 0


def test_a_copy_tells_what_it_took(db: Run, run: Run, url: str, tmp_path: Path) -> None:
    """Every table and its rows; into a store that is in use nothing is copied."""
    other = f"sqlite:///{tmp_path}/other.sqlite3"
    refused = db("copy", other)
    assert (refused.exit_code, "db upgrade" in refused.output) == (1, True)
    assert run("db", "upgrade", "--database", other).exit_code == 0
    done = db("copy", other)
    assert "cases: 1" in done.stdout.splitlines()
    first, second = Database(url), Database(other)
    assert rows(first) == rows(second)
    full = db("copy", other)
    assert (full.exit_code, "not empty" in full.output) == (1, True)
    for one in (first, second):
        one.close()


def test_a_person_is_erased(db: Run, url: str) -> None:
    """The name is gone from the store; a text that is too short is refused in words."""
    assert "erased in 2 rows" in db("erase", "dana").stdout
    database = Database(url)
    assert not [row for row in rows(database) if "Dana" in row]
    database.close()
    refused = db("erase", "D")
    assert (refused.exit_code, "at least 3" in refused.output) == (1, True)


def test_an_import_goes_by_the_shops_own_knowledge(
    db: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the shop has switched off no imported case was closed with."""
    (tmp_path / "switched-off.yaml").write_text("causes: [fuse-open]")
    monkeypatch.setenv("THREEWIRE_KB", str(tmp_path))
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    told = {"at": "2019-01-02T03:04:05Z", "by": "Bo"}
    opened = {"opened_at": told["at"], "opened_by": "Bo", "imported_as": "1", "machine": machine}
    line = json.dumps(opened | {"outcome": told | {"cause": "fuse-open"}})
    assert "unknown cause 'fuse-open'" in db("import", "-", stdin=line).stderr


def test_cases_go_out_and_come_in_once(db: Run, run: Run, tmp_path: Path) -> None:
    """What is exported is brought in elsewhere, once; a bad line is told by its number."""
    other = f"sqlite:///{tmp_path}/other.sqlite3"
    assert run("db", "upgrade", "--database", other).exit_code == 0
    (line,) = db("export").stdout.splitlines()
    case = json.loads(line)["case"]
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    lines = json.dumps(case | {"machine": machine}) + "\n{}\n"
    for said in ("1 brought in, 0 were there, 1 bad", "0 brought in, 1 were there, 1 bad"):
        done = run("db", "import", "-", "--database", other, stdin=lines)
        assert done.stdout.splitlines()[-1] == said
        assert "line 2: " in done.stderr
        assert done.exit_code == 1
