"""``threewire diagnose``: one request from a file, or many, one a line."""

import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

from api import strict_json
from api.answers.batch import WorkerLostError, answers, split
from api.answers.report import print_report
from api.cli.inputs import BadInput, answered, knowledge_from, overlay_option, read, told, write
from engine import Knowledge


class Progress:
    """A bar on standard error while it is a terminal; bytes read of ``file``, and lines done.

    Where answers go to the same terminal there is no bar: it would be torn apart by them.
    """

    def __init__(self, file: str) -> None:
        self._lines = 0
        self._bar = Bar(
            BarColumn(), TextColumn("{task.fields[lines]} lines"),
            TimeRemainingColumn(compact=True), console=Console(stderr=True), transient=True,
            disable=not sys.stderr.isatty() or sys.stdout.isatty(),
        )  # fmt: skip
        self._task = self._bar.add_task("", total=_size(file), lines=0)

    def __enter__(self) -> "Progress":
        self._bar.start()
        return self

    def __exit__(self, *_: Any) -> None:
        self._bar.stop()

    def counted(self, read: Callable[[int], bytes]) -> Callable[[int], bytes]:
        """Return ``read``, counting what it returns."""

        def counting(size: int) -> bytes:
            piece = read(size)
            self._bar.advance(self._task, len(piece))
            return piece

        return counting

    def one_more(self) -> None:
        """Count a line that is done."""
        self._lines += 1
        self._bar.update(self._task, lines=self._lines)


def _size(file: str) -> int | None:
    """Return how many bytes a plain file has, or None where nobody can know."""
    try:
        found = Path(file).stat() if file != "-" else None
    except OSError:
        return None
    return found.st_size if found and stat.S_ISREG(found.st_mode) else None


BLOCK = 64 * 1024


class _Lost(BadInput):
    """Not the input's fault, so with the exit status of a fault in threewire."""

    exit_code = 70

    def __init__(self, line: str) -> None:
        super().__init__([line])


@click.command()
@click.argument("file", metavar="FILE|-")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, on one line.")
@click.option(
    "--ndjson", is_flag=True,
    help="Read one JSON request a line, write one answer or problem a line, in the same order.",
)  # fmt: skip
@click.option(
    "--jobs", default=1, show_default=True, type=click.IntRange(1, 64),
    help="With --ndjson: processes that share the lines; one a core is right. The answers are the "
    "same, but come in blocks.",
)  # fmt: skip
@overlay_option
def diagnose(file: str, as_json: bool, ndjson: bool, jobs: int, overlay: tuple[str, ...]) -> None:
    """Diagnose the machine that FILE (JSON or YAML) tells of; - is standard input.

    Prints a report to read, or with --json what the service would answer. Exit status 1 when the
    request, or any line of it, is bad.
    """
    if as_json and ndjson:
        raise click.UsageError("--json and --ndjson exclude each other: choose one")
    if jobs > 1 and not ndjson:
        raise click.UsageError("--jobs goes with --ndjson: one request is one job")
    knowledge = knowledge_from(overlay)
    if ndjson:
        diagnose_lines(knowledge, file, jobs)
        return
    source = read(file)
    answer = answered(knowledge, source, source.request())
    if as_json:
        write(strict_json.dumps(answer))
    else:
        print_report(answer, knowledge)


def diagnose_lines(knowledge: Knowledge, file: str, jobs: int) -> None:
    """Answer line by line. Exits with 1 when any line was bad, with 70 when a process was lost."""
    bad = 0
    try:
        with told(OSError), click.open_file(file, "rb") as stream, Progress(file) as progress:
            lines = split(progress.counted(getattr(stream, "read1", stream.read)), BLOCK)
            for good, text in answers(knowledge, lines, jobs):
                bad += not good
                write(text)
                progress.one_more()
    except WorkerLostError as error:
        raise _Lost(str(error)) from None
    if bad:
        click.echo(f"threewire: {bad} of the lines could not be answered", err=True)
        raise SystemExit(1)
