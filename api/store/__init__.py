"""The store: SQLAlchemy models, the database behind one URL, and its migrations.

SQLite (WAL, synchronous FULL) and PostgreSQL; the same code and the same tests for both.
"""

from api.store.database import Database, StoreUnavailableError
from api.store.schema import SchemaError, SchemaState, schema_state, upgrade

__all__ = [
    "Database", "SchemaError", "SchemaState", "StoreUnavailableError", "schema_state", "upgrade",
]  # fmt: skip
