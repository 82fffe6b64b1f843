"""``threewire diagnose``: one request from a file, or many, one a line."""

import click

from api import strict_json
from api.answers.batch.files import answers
from api.answers.batch.lines import split
from api.answers.batch.progress import Progress
from api.answers.batch.spread import WorkerLostError
from api.answers.screen import print_report
from api.cli.inputs import BadInput, answered, knowledge_from, overlay_option, read, told, write
from engine import Knowledge

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
