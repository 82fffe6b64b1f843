"""``threewire replay``: closed cases under today's knowledge base."""

import sys
from collections.abc import Iterable

import click

from api.answers.batch import WorkerLostError
from api.cases.lists import closed_cases
from api.cases.replay import spread
from api.cases.replay.rescore import Row
from api.cases.replay.writing import JsonReport, ReportTable, Totals
from api.cli.db import OpenStore, on_store
from api.cli.inputs import knowledge_from, overlay_option, told
from engine import Knowledge


@click.command()
@click.option(
    "--json", "as_json", is_flag=True, help="Write the whole report as one JSON document."
)
@click.option("--all", "everything", is_flag=True, help="Show the cases that are the same, too.")
@click.option("--jobs", default=1, show_default=True, type=click.IntRange(1, 64),
              help="Processes that share the cases; one a core is right.")  # fmt: skip
@click.option("--dask", metavar="ADDRESS", help="Dask scheduler whose workers share the cases.")
@overlay_option
@on_store()
def replay(  # noqa: PLR0913, PLR0917 - one parameter an option
    store: OpenStore, as_json: bool, everything: bool, jobs: int, dask: str | None,
    overlay: tuple[str, ...],
) -> None:  # fmt: skip
    """What today's knowledge base says of each closed case, beside what was said at its closing.

    Shows where the confirmed cause stands, the leading cause and the next check, before and after,
    and the totals. Shares learned from closed cases are left out: they would be judged by
    themselves. The store is only read.
    """
    if jobs > 1 and dask:
        raise click.UsageError("--jobs and --dask exclude each other: choose one")
    knowledge = knowledge_from(overlay)
    totals = Totals()
    report = JsonReport(sys.stdout.write) if as_json else ReportTable(click.echo, everything)
    with told(WorkerLostError, spread.ClusterError):
        for row in _rows(store, knowledge, jobs, dask):
            totals.add(row)
            report.row(row)
        report.end(totals.document(), knowledge.version)


def _rows(store: OpenStore, knowledge: Knowledge, jobs: int, dask: str | None) -> Iterable[Row]:
    drafts = closed_cases(store.database)
    if dask:
        return spread.on_dask(knowledge, drafts, dask)
    if jobs > 1:
        return spread.in_processes(knowledge, drafts, jobs)
    return spread.here(knowledge, drafts)
