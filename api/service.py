"""What the views need: knowledge base, engine, settings and store, shared by every request."""

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol, cast

from flask import Flask, current_app

from api.settings import KNOWLEDGE_FOLDERS, Settings, load
from api.store import Database
from api.store.database import Probe
from api.store.schema import require_current
from engine import Diagnoser, Knowledge, load_knowledge
from engine.diagnosis import diagnoser_of, shipped_knowledge
from engine.physics.model import MOST_BYTES, ModelStore

_KEY = "threewire"
STORE_SECONDS = 3.0


class Engine(Protocol):
    """Anything that answers a request as ``engine.Diagnoser`` does."""

    def diagnose(self, request: dict[str, Any]) -> dict[str, Any]:
        """Answer one request; raise ``engine.RequestError`` with every fault for a bad one."""


Learning = Callable[[Diagnoser, Database], Engine]  # an engine that follows the closed cases


@dataclass
class Service:
    """The knowledge base, the engine, and what is worked out from them once."""

    knowledge: Knowledge
    engine: Engine
    settings: Settings
    database: Database | None = None  # None: nothing is kept, and what needs a store says so
    cache: dict[str, Any] = field(default_factory=dict)

    def store_fault(self) -> str | None:
        """Return what is wrong with the store, or None; within STORE_SECONDS.

        It is asked in a thread of its own: a store that hangs must not hang who asks. One question
        at a time is under way, and who asks meanwhile waits for the same answer.
        """
        if self.database is None:
            return None
        probe: Probe = self.cache.setdefault("probe", Probe(self.database.ping))
        return probe.ask(STORE_SECONDS)


def install(app: Flask, learning: Learning | None = None) -> Service:
    """Load the knowledge base that ``app.config`` names and keep it on ``app``.

    ``DIAGNOSER`` and ``KNOWLEDGE`` put ready-made ones in its place; ``OVERLAYS`` lists folders of
    a shop's own items; where it is absent, the setting THREEWIRE_KB does. ``SETTINGS`` are the
    service's settings; ``DATABASE`` is the store, else the one that the settings name if
    ``SETTINGS`` are given.
    Raises engine.KnowledgeError when the knowledge base has a fault, SchemaError or
    StoreUnavailableError when the store cannot be used.
    """
    folders = os.environ.get(KNOWLEDGE_FOLDERS, "").split(os.pathsep)
    overlays = app.config.get("OVERLAYS", filter(None, folders))
    knowledge = app.config.get("KNOWLEDGE") or laid(overlays)
    settings: Settings = app.config.get("SETTINGS") or load(environment={})
    most, engine = settings.model_mebibytes * 2**20, app.config.get("DIAGNOSER")
    if engine is None and most == MOST_BYTES:  # the usual one, which the process has already
        engine = diagnoser_of(knowledge)
    engine = engine or Diagnoser(knowledge, ModelStore(knowledge, most))
    database = _store(app)
    if database is not None and settings.learn and learning and isinstance(engine, Diagnoser):
        engine = learning(engine, database)
    service = Service(knowledge, engine, settings, database)
    app.extensions[_KEY] = service
    return service


def _store(app: Flask) -> Database | None:
    """Return the store, its schema proven to be this program's."""
    database: Database | None = app.config.get("DATABASE")
    if database is None and app.config.get("SETTINGS") is not None:
        database = Database(app.config["SETTINGS"].database)
    if database is not None:
        require_current(database)
    return database


def knowledge_of(settings: Settings) -> Knowledge:
    """Return the knowledge that settings name, a shop's own items over the shipped ones.

    Raises engine.KnowledgeError, OSError.
    """
    return laid(settings.kb)


def laid(folders: Iterable[str]) -> Knowledge:
    """Return the shipped knowledge, with folders laid over it where there are any."""
    overlays = [Path(folder) for folder in folders]
    return load_knowledge(overlays, style=False) if overlays else shipped_knowledge()


def current() -> Service:
    """Return the service of the application that is handling this request."""
    return cast(Service, current_app.extensions[_KEY])
