"""How far one machine goes, and how to go beyond: ``python -m tests.bench.scale``.

Bytes a case in both databases, replay in one and two processes and on Dask workers, and one or two
services on one PostgreSQL database, each with one worker, under case writes. Measured, never
asserted.
"""

import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing
from pathlib import Path

import click
from sqlalchemy import text

from api.cases import Book
from api.store import Database
from engine.diagnosis import shipped
from tests.bench.cases import EIGHT
from tests.bench.load import open_case, serving, wrk
from tests.databases import server, set_up
from tests.serving import ROOT


def bytes_of(database: Database, folder: Path) -> int:
    """Return the size of a store, in SQLite once its journal is written back."""
    if database.is_sqlite:
        with closing(sqlite3.connect(str(database.url.database))) as store:
            store.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return sum(one.stat().st_size for one in folder.iterdir())
    with database.reading() as session:
        return int(
            session.execute(text("SELECT pg_database_size(current_database())")).scalar_one()
        )


def work_cases(book: Book, number: int) -> None:
    """Work so many cases: opened with two findings, six more one by one, closed."""
    requests = list(EIGHT.values())
    for turn in range(number):
        request = requests[turn % len(requests)]
        opening = {"machine": request["machine"], "fleet_number": f"L-{turn}",
                   "reference": f"W-{turn}", "complaint": "Does not do what it did yesterday.",
                   "findings": request["findings"][:2]}  # fmt: skip
        case = book.open(opening, "Dana via till 3")
        for finding in request["findings"][2:]:
            book.add_findings(case.number, [finding], "Ana via till 3")
        end = {"cause": "ground-resistive", "minutes": 35, "note": "Cleaned and tightened."}
        book.close(case.number, end, "Ana via till 3", None)


def growth(urls: Iterable[str], folder: Path, number: int) -> None:
    """Print what a case of eight findings adds to a store."""
    for url in urls:
        database = set_up(url)
        book = Book(database, shipped(), shipped().knowledge)
        work_cases(book, 3)
        before = bytes_of(database, folder)
        started = time.perf_counter()
        work_cases(book, number)
        seconds = (time.perf_counter() - started) / number
        added = (bytes_of(database, folder) - before) / number
        kind = "SQLite" if database.is_sqlite else "PostgreSQL"
        click.echo(f"{kind}: {added / 1024:.0f} KiB a case, {seconds:.2f} s a case to work")
        database.close()


def replay(url: str, *options: str) -> float:
    """Return the seconds that ``threewire replay`` takes."""
    started = time.perf_counter()
    command = [sys.executable, "-m", "api", "replay", "--database", url, *options]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    subprocess.run(command, cwd=ROOT, env=environment, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - started


def on_dask(url: str, workers: int) -> float:
    """Return the seconds that it takes on Dask workers which have their engines."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        replay(url, "--dask", cluster.scheduler_address)
        return replay(url, "--dask", cluster.scheduler_address)


def services(url: str, folder: Path, number: int, seconds: int) -> None:
    """Print the case writes a second of services on one database."""
    with ExitStack() as stack:
        running = [
            stack.enter_context(serving(url, folder / f"{number}-{one}", 1, 4))
            for one in range(number)
        ]
        with ThreadPoolExecutor(number) as pool:
            rows = list(pool.map(
                lambda one: wrk(one.url, open_case(), 8 // number, seconds), running
            ))  # fmt: skip
    total = sum(row["a_second"] for row in rows)
    worst = max(row["ms_99"] for row in rows)
    wrong = sum(row["wrong"] for row in rows)
    click.echo(f"{number} services: {total:.1f} cases a second, 99 % {worst:.0f} ms, {wrong} wrong")


@click.command()
@click.option(
    "--cases", default=20, show_default=True, help="Cases worked for the growth; 0 leaves it out."
)
@click.option("--replayed", default=60, show_default=True, help="Closed cases that are replayed.")
@click.option("--seconds", default=10, show_default=True, help="Of each load.")
def main(cases: int, replayed: int, seconds: int) -> None:
    """Measure growth, replay and two services."""
    with tempfile.TemporaryDirectory() as name, server() as postgresql:
        folder = Path(name)
        store = folder / "store"
        store.mkdir()
        url = f"sqlite:///{store}/cases.sqlite3"
        if cases:
            growth([url, *([postgresql.new_database()] if postgresql else [])], store, cases)
        database = set_up(url)
        book = Book(database, shipped(), shipped().knowledge)
        for turn in range(replayed):
            request = list(EIGHT.values())[turn % len(EIGHT)]
            case = book.open(request, "Dana")
            book.close(case.number, {"cause": "ground-resistive"}, "Ana", None)
        database.close()
        told = f"{replayed + (cases + 3 if cases else 0)} cases"
        for jobs in (1, 2):
            click.echo(f"replay of {told}, {jobs} jobs: {replay(url, '--jobs', str(jobs)):.1f} s")
        for workers in (1, 2):
            click.echo(f"replay of {told}, {workers} Dask workers: {on_dask(url, workers):.1f} s")
        if postgresql:
            for number in (1, 2):
                services(postgresql.new_database(), folder, number, seconds)


if __name__ == "__main__":
    main()
