"""What all tests share: the shipped engine, its application, its command line, databases.

Loaded by tests/conftest.py where tests are run, as a plugin of pytest.
"""

import gc
import inspect
from collections.abc import Callable, Iterator
from copy import copy
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import settings
from jinja2.bccache import Bucket, BytecodeCache
from sqlalchemy import URL, Engine, create_engine
from werkzeug.routing import Rule

from api import create_app
from api.cli.main import threewire
from api.store import Database
from api.store import database as store
from engine import Diagnoser, Knowledge
from engine.answer.answer import Answer
from engine.audit.separation import Survey
from engine.diagnosis import shipped
from engine.physics.model import MOST_BYTES, ModelStore
from engine.reasoning.request import Request
from engine.traces import winding
from engine.traces.winding import PullWindow, WindingFit
from tests.databases import KINDS, Server, server, set_up
from tests.figures import FIGURE
from tests.sweeps import EXAMPLES, SLOW

# No time is held, since machines are busy.
settings.register_profile("tests", max_examples=EXAMPLES, deadline=None)
settings.load_profile("tests")

SLOW_FACTOR = 20
ANSWERS_KEPT = 500  # of the engine that remembers them
MODEL_BYTES = 4 * MOST_BYTES  # of machines that tests ask about: each is solved once a worker
# what compiling an address makes of it
COMPILED = ("_parts", "_trace", "_converters", "_build", "_build_unknown", "arguments")


@pytest.fixture(scope="session")
def diagnoser() -> Diagnoser:
    """The engine on the shipped knowledge, with every model that a test had it build."""
    found = shipped()
    found.models = ModelStore(found.knowledge, MODEL_BYTES)
    return found


@pytest.fixture(scope="session")
def survey(diagnoser: Diagnoser) -> Survey:
    """What the shipped base tells apart; worked out once for all tests."""
    return Survey(diagnoser)


class _Templates(BytecodeCache):
    """Templates as they were compiled for one service, for the next."""

    def __init__(self) -> None:
        self._codes: dict[tuple[str, str], Any] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Put in what was compiled of the same text."""
        bucket.code = self._codes.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep what was compiled."""
        self._codes[bucket.key, bucket.checksum] = bucket.code


@pytest.fixture(scope="session", autouse=True)
def _once_a_worker(survey: Survey) -> Iterator[None]:
    """Services on the shipped base share one survey, the addresses of a route and the templates
    are compiled for the first service alone, and a recorded pull is fitted once."""

    def surveyed(diagnoser: Diagnoser) -> Survey:
        return survey if diagnoser.knowledge is survey.knowledge else Survey(diagnoser)

    compiled: dict[str, Any] = {}
    compile_rule = Rule.compile

    def once(rule: Rule) -> None:
        key = repr((rule.rule, rule.defaults, rule.subdomain, rule.merge_slashes))
        if key not in compiled:
            compile_rule(rule)
            compiled[key] = {name: rule.__dict__[name] for name in COMPILED}
        for name, found in compiled[key].items():
            rule.__dict__[name] = found.__get__(rule) if inspect.ismethod(found) else copy(found)

    first = create_engine("sqlite://")
    first.connect().close()  # a dialect is told its server's version when it first connects
    new_engine = store._sqlite

    def with_statements(url: URL) -> Engine:
        engine = new_engine(url)
        # a statement is kept as it was compiled for a dialect
        engine.dialect, engine._compiled_cache = first.dialect, first._compiled_cache
        return engine

    fits: dict[Any, WindingFit] = {}
    fit = winding.fit

    def fitted_once(window: PullWindow) -> WindingFit:
        key = (*(getattr(window, name).tobytes() for name in ("seconds", "amperes", "drive")),
               window.hum, window.timed)  # fmt: skip
        if key not in fits:
            fits[key] = fit(window)
        return fits[key]

    gc.collect()
    gc.freeze()  # what is loaded stays: it need not be looked through each time
    gc.enable()
    gc.set_threshold(50_000)  # and answers are large: so many new objects are no leak
    templates, create = _Templates(), Flask.create_jinja_environment

    def with_templates(app: Flask) -> Any:
        made = create(app)
        made.bytecode_cache = templates
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Flask, "create_jinja_environment", with_templates)
        patch.setattr("api.web.knowledge.Survey", surveyed)
        patch.setattr(Rule, "compile", once)
        patch.setattr(store, "_sqlite", with_statements)
        patch.setattr(winding, "fit", fitted_once)
        yield


class RememberingDiagnoser(Diagnoser):
    """The engine of another, which gives an answer that it has given before without working it out.

    A diagnosis is pure (tests/reference), so that rooms above the engine see no difference.
    """

    def __init__(self, other: Diagnoser) -> None:
        self.__dict__.update(other.__dict__)
        self._given: dict[str, Answer] = {}

    def answer(self, request: Request) -> Answer:
        """Return the diagnosis of a request."""
        asked = repr(request)
        if asked not in self._given:
            if len(self._given) == ANSWERS_KEPT:
                self._given.clear()
            self._given[asked] = super().answer(request)
        return self._given[asked]


@pytest.fixture(scope="session")
def remembering(diagnoser: Diagnoser) -> Diagnoser:
    """The engine for rooms in whose tests the same cases come again and again."""
    return RememberingDiagnoser(diagnoser)


@pytest.fixture(scope="session")
def engine(remembering: Diagnoser) -> Diagnoser:
    """The same, under the name that the service's tests use."""
    return remembering


@pytest.fixture(scope="module")
def app_of_module(
    tmp_path_factory: pytest.TempPathFactory, knowledge: Knowledge, engine: Diagnoser
) -> Iterator[Flask]:
    """The service on one SQLite store, to which all requests of a module go."""
    database = set_up(f"sqlite:///{tmp_path_factory.mktemp('store')}/cases.sqlite3")
    yield create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine, "DATABASE": database})
    database.close()


@pytest.fixture(scope="session")
def knowledge(diagnoser: Diagnoser) -> Knowledge:
    """The shipped knowledge base."""
    return diagnoser.knowledge


@pytest.fixture(scope="session")
def app(knowledge: Knowledge, engine: Diagnoser) -> Flask:
    """The application on the real engine, without a store."""
    return create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine})


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    """A client that sees a fault of the service as its callers do: as an answer."""
    return app.test_client()


@pytest.fixture
def run() -> Callable[..., Result]:
    """Run the command line in this process."""

    def call(*arguments: str | Path, stdin: bytes | str | None = None) -> Result:
        return CliRunner().invoke(threewire, [str(one) for one in arguments], input=stdin)

    return call


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """A PostgreSQL server of this process's own; skips where there is none."""
    with server() as running:
        if running is None:
            pytest.skip("PostgreSQL is not installed; .ci/run installs it")
        yield running


@pytest.fixture
def new_url(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[str], str]:
    """Return the URL of a new, empty database of a kind."""

    def make(kind: str) -> str:
        if kind == "sqlite":
            return f"sqlite:///{tmp_path}/store/cases.sqlite3"
        server: Server = request.getfixturevalue("postgresql")
        return server.new_schema()

    return make


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run what needs a store on SQLite, and what is marked ``both_databases`` on both."""
    if "database_url" in metafunc.fixturenames:
        both = metafunc.definition.get_closest_marker("both_databases")
        metafunc.parametrize("database_url", KINDS if both else KINDS[:1], indirect=True)


@pytest.fixture
def database_url(request: pytest.FixtureRequest, new_url: Callable[[str], str]) -> str:
    """The URL of an empty database."""
    return new_url(request.param)


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """A store that is set up."""
    found = set_up(database_url)
    yield found
    found.close()


@pytest.fixture(scope="session")
def enlarged() -> Callable[[int], int]:
    """Give a function that returns how many cases to draw: twenty times as many when slow."""
    return lambda count: count * SLOW_FACTOR if SLOW else count


@pytest.fixture
def figure(record_property: Callable[[str, object], None]) -> Callable[[str], None]:
    """Give a function that takes a line for the summary after the run."""
    return lambda line: record_property(FIGURE, line)
