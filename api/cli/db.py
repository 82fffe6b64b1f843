"""``threewire db`` and ``threewire replay``: the store, copies of it, cases out and in, and again.

And what every command on the store takes.
"""

import functools
import sys
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any, NamedTuple

import click

from api import store, strict_json
from api.answers.batch import WorkerLostError
from api.cases import Book, erasure
from api.cases.lists import Wanted, closed_cases
from api.cases.replay import spread
from api.cases.replay.writing import JsonReport, ReportTable, Totals
from api.cases.transfer import bring_in, exported, exported_rows
from api.cli.inputs import knowledge_option, told
from api.service import knowledge_of
from api.settings import Settings, SettingsError, load
from api.store import Database, SchemaError, StoreUnavailableError, copying
from api.store.schema import require_current
from engine import Knowledge, KnowledgeError, RequestError
from engine.diagnosis import diagnoser_of

Command = Callable[..., None]


class OpenStore(NamedTuple):
    """The store that a command works on, and the settings that named it."""

    database: Database
    settings: Settings

    @property
    def shown(self) -> str:
        """Return the database's URL without its password."""
        return str(self.database.url.render_as_string(hide_password=True))


def as_it_is(settings: Settings) -> Database:
    """Return the store that settings name, whatever its schema."""
    return Database(settings.database)


def current(settings: Settings, set_up: bool = False) -> Database:
    """Return the store that settings name, its schema this program's; ``set_up`` makes an empty
    one so. Raises SchemaError or StoreUnavailableError."""
    database = Database(settings.database)
    try:
        if set_up and store.schema_state(database) is store.SchemaState.EMPTY:
            store.upgrade(database)
        require_current(database)
    except BaseException:
        database.close()
        raise
    return database


def open_store(settings: Settings) -> Database:
    """Return the same; the default file is set up when it is not there.

    Any other empty store is not: a slip in its URL must not start a second, empty one in silence.
    """
    return current(settings, set_up=settings.origins["database"] == "default")


def on_store(opened: Callable[[Settings], Database] = current) -> Callable[[Command], Command]:
    """Return what adds ``--database`` and ``--config``.

    The command gets the open store as its first argument; whatever is wrong with it, or with the
    settings, ends in BadInput.
    """

    def decorate(command: Command) -> Command:
        @click.option("--database", metavar="URL", help="The store; else the setting 'database'.")
        @click.option("--config", metavar="FILE", help="Settings, TOML.")
        @functools.wraps(command)
        def call(database: str | None, config: str | None, **rest: Any) -> None:
            with told(SettingsError, SchemaError, StoreUnavailableError, OSError):
                settings = load({"database": database}, file=config)
                found = opened(settings)
                try:
                    command(OpenStore(found, settings), **rest)
                finally:
                    found.close()

        return call

    return decorate


@click.group()
def db() -> None:
    """Set up, bring up to date and look at the store of cases."""


@db.command()
@on_store(as_it_is)
def upgrade(found: OpenStore) -> None:
    """Set the store up, or bring an older one up to this program. Copy it first."""
    done = store.upgrade(found.database)
    click.echo(f"{found.shown}: {'brought up to date' if done else 'is up to date'}")


@db.command()
@on_store(as_it_is)
def status(found: OpenStore) -> None:
    """Say where the store is and how its schema stands to this program. Exit status 1 unless
    current."""
    state = store.schema_state(found.database)
    click.echo(f"{found.shown}: {state}")
    if state is not store.SchemaState.CURRENT:
        raise SystemExit(1)


@db.command()
@click.argument("file", type=click.Path(path_type=Path))
@on_store()
@told(copying.CopyError)
def backup(found: OpenStore, file: Path) -> None:
    """Copy an SQLite store into the new FILE, whole, while the service runs."""
    copying.backup(found.database, file)
    click.echo(f"{file}: a copy of {found.shown}")


@db.command()
@click.argument("target", metavar="TO")
@on_store()
@told(copying.CopyError)
def copy(found: OpenStore, target: str) -> None:
    """Copy every row of the store TO another that is set up and empty, SQLite or PostgreSQL."""
    other = current(load({"database": target}))
    try:
        done = copying.copy(found.database, other)
    finally:
        other.close()
    for name, rows in done.items():
        click.echo(f"{name}: {rows}")


@db.command()
@click.option("--state", type=click.Choice(("open", "closed")), help="Only these; all else.")
@click.option("--csv", "as_table", is_flag=True, help="A table, a row a case, without the steps.")
@on_store()
@told(KnowledgeError)
def export(found: OpenStore, state: str | None, as_table: bool) -> None:
    """Write every case with its findings and steps to standard output, one JSON object a line."""
    knowledge = knowledge_of(found.settings)
    if as_table:
        lines = exported_rows(found.database, knowledge, Wanted(state))
    else:
        records = exported(found.database, knowledge, Wanted(state))
        lines = (strict_json.dumps(one.to_dict()) for one in records)
    for line in lines:
        click.echo(line.encode(), nl=False)


@db.command("import")
@click.argument("file", type=click.File("rb"))
@on_store()
@told(KnowledgeError)
def import_(found: OpenStore, file: IO[bytes]) -> None:
    """Bring in the cases of FILE, one JSON object a line as 'db export' writes them; - is standard
    input. Run again, it brings in what is not there yet. Exit status 1 if a line was bad."""
    knowledge = knowledge_of(found.settings)
    book = Book(found.database, diagnoser_of(knowledge), knowledge)
    new, there, bad = 0, 0, 0
    for number, line in enumerate(file, start=1):
        try:
            sent = strict_json.loads(line)
            case = bring_in(book, sent if isinstance(sent, dict) else {})
        except (strict_json.JsonError, RequestError) as error:
            bad += 1
            click.echo(f"line {number}: {error}", err=True)
            continue
        new, there = new + (case is not None), there + (case is None)
    click.echo(f"{new} brought in, {there} were there, {bad} bad")
    if bad:
        raise SystemExit(1)


@db.command()
@click.argument("words", nargs=-1, required=True, metavar="TEXT...")
@on_store()
@told(ValueError, erasure.SpaceNotFreedError)
def erase(found: OpenStore, words: tuple[str, ...]) -> None:
    """Take every TEXT, a name or a phone number, out of all that is kept. What was found stays."""
    count = erasure.erase(found.database, words)
    click.echo(f"{found.shown}: erased in {count} rows; earlier copies still have it")


@click.command()
@click.option(
    "--json", "as_json", is_flag=True, help="Write the whole report as one JSON document."
)
@click.option("--all", "everything", is_flag=True, help="Show the cases that are the same, too.")
@click.option("--jobs", default=1, show_default=True, type=click.IntRange(1, 64),
              help="Processes that share the cases; one a core is right.")  # fmt: skip
@click.option("--dask", metavar="ADDRESS", help="Dask scheduler whose workers share the cases.")
@knowledge_option
@on_store()
@told(WorkerLostError, spread.ClusterError)
def replay(  # noqa: PLR0913, PLR0917 - one parameter an option
    found: OpenStore, as_json: bool, everything: bool, jobs: int, dask: str | None,
    knowledge: Knowledge,
) -> None:  # fmt: skip
    """What today's knowledge base says of each closed case.

    Shows where the confirmed cause stands, the leading cause and the next check, now and at its
    closing, and the totals. Shares learned from closed cases are left out: they would be judged by
    themselves. The store is only read.
    """
    if jobs > 1 and dask:
        raise click.UsageError("--jobs and --dask exclude each other: choose one")
    drafts = closed_cases(found.database)
    if dask:
        rows = spread.on_dask(knowledge, drafts, dask)
    elif jobs > 1:
        rows = spread.in_processes(knowledge, drafts, jobs)
    else:
        rows = spread.here(knowledge, drafts)
    totals = Totals()
    report = JsonReport(sys.stdout.write) if as_json else ReportTable(click.echo, everything)
    for row in rows:
        totals.add(row)
        report.row(row)
    report.end(totals.document(), knowledge.version)
