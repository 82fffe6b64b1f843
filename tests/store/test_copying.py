"""A copy of a store is the store: as a file beside a running service, and in another database."""

import stat
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import select

from api.access import keys
from api.store import Database
from api.store.copying import CopyError, backup, copy
from api.store.models import Base, CaseRow, StepRow
from tests.databases import set_up

pytestmark = pytest.mark.both_databases


def fill(database: Database) -> None:
    """Put a case with a step, and a key, into the store."""
    now = datetime.now(UTC)
    with database.writing() as session:
        row = CaseRow(number="48291372", version=1, state="open", opened_at=now, changed_at=now,
                      opened_by="Dana", machine={"duty": "fuel-shutoff"}, settings={})  # fmt: skip
        session.add(row)
        session.flush()
        step = StepRow(case_order=row.order, version=1, kind="opened", by="Dana", at=now,
                       body={"findings": []})  # fmt: skip
        session.add(step)
        keys.make(session, "till 3", "agent")


def rows(database: Database) -> list[str]:
    """Return all that a store has, but what each installation has of its own."""
    with database.reading() as session:
        return [
            repr(row)
            for table in Base.metadata.sorted_tables if table.name != "installation"
            for row in session.execute(select(table))
        ]  # fmt: skip


def test_a_backup_is_whole_and_private(tmp_path: Path) -> None:
    """The copy has every row, is its owner's alone to read, and overwrites nothing."""
    database = set_up(f"sqlite:///{tmp_path}/store.sqlite3")
    fill(database)
    file = tmp_path / "copy.sqlite3"
    backup(database, file)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    again = Database(f"sqlite:///{file}")
    assert rows(again) == rows(database)
    with pytest.raises(CopyError, match="there already"):
        backup(database, file)
    again.close()
    database.close()


def test_a_store_moves_from_one_database_to_the_other_and_back(
    database: Database, tmp_path: Path, new_url: Callable[[str], str]
) -> None:
    """Every row comes over, numbers count on behind the highest, and a full target is refused."""
    fill(database)
    middle = set_up(f"sqlite:///{tmp_path}/middle.sqlite3")
    assert copy(database, middle)["cases"] == 1
    assert rows(middle) == rows(database)
    with pytest.raises(CopyError, match="not empty"):
        copy(middle, database)
    url = f"sqlite:///{tmp_path}/back.sqlite3" if database.is_sqlite else new_url("postgresql")
    back = set_up(url)
    copy(middle, back)
    assert rows(back) == rows(database)
    now = datetime.now(UTC)
    with back.writing() as session:
        more = CaseRow(number="48291380", version=1, state="open", opened_at=now, changed_at=now,
                       opened_by="Dana", machine={}, settings={})  # fmt: skip
        session.add(more)
        session.flush()
        assert more.order == 2
    for one in (middle, back):
        one.close()
