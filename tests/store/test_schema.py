"""Migrations and the schema's state, on SQLite and on PostgreSQL."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import text

from api.store import Database, SchemaError, SchemaState, schema_state, upgrade
from api.store.models import Base
from api.store.schema import require_current

pytestmark = pytest.mark.both_databases


def test_upgrade_makes_what_the_models_say(database: Database) -> None:
    """After the migrations alembic finds no difference to the models."""
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection)
        assert compare_metadata(context, Base.metadata) == []


def test_states_in_turn(database_url: str) -> None:
    """An empty store is refused with what to do, a set-up one taken, and a second upgrade idle."""
    database = Database(database_url)
    assert schema_state(database) is SchemaState.EMPTY
    with pytest.raises(SchemaError, match="threewire db upgrade"):
        require_current(database)
    assert upgrade(database) is True
    require_current(database)
    assert upgrade(database) is False
    database.close()


def test_newer_schema_is_refused(database: Database) -> None:
    """A revision that this program does not know is left alone."""
    with database.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(SchemaError, match="newer threewire"):
        require_current(database)
    with pytest.raises(SchemaError, match="newer threewire"):
        upgrade(database)


def test_foreign_tables_are_refused(database_url: str) -> None:
    """A database with somebody else's tables is not written into."""
    database = Database(database_url)
    with database.writing() as session:
        session.execute(text("CREATE TABLE stranger (id INTEGER)"))
    with pytest.raises(SchemaError, match="something else"):
        upgrade(database)
    database.close()


def test_four_processes_upgrade_at_once(database_url: str) -> None:
    """Upgrades that start together leave one good schema."""

    def work(_: int) -> bool:
        database = Database(database_url)
        try:
            return upgrade(database)
        finally:
            database.close()

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(work, range(4))) == 1
    database = Database(database_url)
    assert schema_state(database) is SchemaState.CURRENT
    database.close()
