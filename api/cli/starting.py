"""What has to be right before the service starts, and the clear word when it is not."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from flask import Flask

from api import create_app
from api import settings as settings_table
from api.access import exposure, keys
from api.access.rate_limiter import RateLimiter
from api.cli.db import open_store
from api.service import knowledge_of
from api.settings import Settings
from api.store import Database, SchemaError, StoreUnavailableError
from engine.knowledge.faults import FaultsError

_MAKE_ONE = "make one with 'threewire keys make --role admin --name NAME' on the same store"


class StartError(Exception):
    """The service may not start so; the message says why and what to do."""


# whatever keeps the service from starting
REFUSALS = (FaultsError, StartError, SchemaError, StoreUnavailableError, OSError)


def require_guard(settings: Settings, database: Database) -> None:
    """Raise StartError when others could reach the service without a key, or nobody with one."""
    beyond = exposure.beyond_loopback(settings)
    where = "a proxy stands in front" if settings.proxies else f"it listens on {settings.host}"
    if beyond and settings.require_keys == "no":
        raise StartError(
            f"keys are off (require_keys) and others can reach the service ({where}): keys may be "
            "off only on loopback without a proxy"
        )
    if not beyond and settings.require_keys != "yes":
        return
    with database.reading() as session:
        if keys.any_in_force(session):
            return
    why = f"others can reach the service ({where})" if beyond else "require_keys is 'yes'"
    raise StartError(f"{why} and no key is in force: {_MAKE_ONE}")


def _put_keys(settings: Settings, database: Database) -> None:
    """Put the keys of the setting ``keys_file`` in force. Raises StartError, OSError."""
    if not settings.keys_file:
        return
    lines = Path(settings.keys_file).read_text(encoding="utf-8")
    try:
        database.write(lambda session: keys.put(session, lines))
    except ValueError as error:
        raise StartError(f"{settings.keys_file}: {error}") from None


def make_app(flags: Mapping[str, Any], file: str | None, limiter: RateLimiter) -> Flask:
    """Return the application, with no connection left open that a fork would share.

    Raises SettingsError, KnowledgeError, SchemaError, StoreUnavailableError, StartError or OSError.
    """
    settings = settings_table.load(flags, file=file)
    knowledge = knowledge_of(settings)
    database = open_store(settings)  # after the knowledge: what cannot start makes no file
    try:
        _put_keys(settings, database)
        require_guard(settings, database)
        return create_app({
            "SETTINGS": settings, "DATABASE": database, "KNOWLEDGE": knowledge,
            "RATE_LIMITER": limiter,
        })  # fmt: skip
    finally:
        database.close()
