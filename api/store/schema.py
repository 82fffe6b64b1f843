"""Which schema a database has, and bringing it up to this program's.

Migrations are alembic's, in ``migrations/versions``, and run the same on both databases.
"""

from enum import StrEnum
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, text
from sqlalchemy.engine import Connection

from api.store.database import Database, _told


class SchemaState(StrEnum):
    """How a database's schema stands to this program's."""

    EMPTY = "empty"
    CURRENT = "current"
    OLDER = "older"
    NEWER = "newer"  # or of another line: this program does not know it
    FOREIGN = "foreign"  # tables, but none of ours


class SchemaError(Exception):
    """The database's schema is not this program's; the message says what to do."""


_ADVICE = {
    SchemaState.EMPTY: "the store is empty: run 'threewire db upgrade' to set it up",
    SchemaState.OLDER: "the store is of an older threewire: make a copy of it, then run "
    "'threewire db upgrade'",
    SchemaState.NEWER: "the store is of a newer threewire: run that one; this one would damage it",
    SchemaState.FOREIGN: "the database holds tables of something else: give threewire one of "
    "its own",
}


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    return config


@cache
def _revisions() -> tuple[str, ...]:
    """Return the revisions that this program knows, the newest first."""
    scripts = ScriptDirectory.from_config(_config()).walk_revisions()
    return tuple(script.revision for script in scripts)


def newest() -> str:
    """Return the revision that this program works with."""
    return _revisions()[0]


def schema_state(database: Database) -> SchemaState:
    """Return how the database's schema stands to this program's. Raises StoreUnavailableError."""
    with _told(), database.engine.connect() as connection:
        revision = MigrationContext.configure(connection).get_current_revision()
        tables = inspect(connection).get_table_names()
    if revision is None:
        return SchemaState.FOREIGN if set(tables) - {"alembic_version"} else SchemaState.EMPTY
    if revision not in _revisions():
        return SchemaState.NEWER
    return SchemaState.CURRENT if revision == newest() else SchemaState.OLDER


def require_current(database: Database) -> None:
    """Raise SchemaError, with what to do, unless the schema is this program's."""
    state = schema_state(database)
    if state is not SchemaState.CURRENT:
        raise SchemaError(_ADVICE[state])


def upgrade(database: Database) -> bool:
    """Bring the schema up to this program's; returns whether anything was done.

    Several processes may call it at once: one works, the others wait. Raises SchemaError for a
    newer or foreign schema, StoreUnavailableError when the database cannot be reached.
    """
    state = schema_state(database)
    if state in (SchemaState.NEWER, SchemaState.FOREIGN):
        raise SchemaError(_ADVICE[state])
    with _told(), database.engine.execution_options(writes=True).begin() as connection:
        if not database.is_sqlite:  # SQLite has taken its one write lock already
            connection.execute(text("SELECT pg_advisory_xact_lock(7349001)"))
        before = MigrationContext.configure(connection).get_current_revision()
        command.upgrade(_config(connection), "head")
    return before != newest()
