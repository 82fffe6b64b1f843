"""``threewire diagnose``: one request from a file, or many, one a line."""

import sys
from collections.abc import Iterator
from typing import IO, Any, cast

import click

from api import answering, problems, strict_json
from api.answering import MAX_BYTES
from api.inputs import BadInput, knowledge_from, overlay_option, read
from api.report_output import print_report
from api.service import Engine
from engine import Diagnoser, RequestError


@click.command()
@click.argument("file", metavar="FILE|-")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, on one line.")
@click.option(
    "--ndjson",
    is_flag=True,
    help="Read one JSON request a line, write one answer or problem a line, in the same order.",
)
@overlay_option
def diagnose(file: str, as_json: bool, ndjson: bool, overlay: tuple[str, ...]) -> None:
    """Diagnose the machine that FILE (JSON or YAML) tells of; - is standard input.

    Prints a report to read, or with --json what the service would answer. Exit status 1 when the
    request, or any line of it, is bad.
    """
    if as_json and ndjson:
        raise click.UsageError("--json and --ndjson exclude each other: choose one")
    knowledge = knowledge_from(overlay)
    engine = Diagnoser(knowledge)
    if ndjson:
        diagnose_lines(engine, file)
        return
    source = read(file)
    try:
        answer = engine.diagnose(cast(dict[str, Any], source.request()))
    except RequestError as error:
        raise source.complaint(error.faults) from None
    if as_json:
        write(strict_json.dumps(answer))
    else:
        print_report(answer, knowledge)


def write(text: str) -> None:
    """Write JSON to standard output as UTF-8, whatever the terminal's encoding is, at once."""
    sys.stdout.buffer.write(text.encode("utf-8"))
    sys.stdout.buffer.flush()


def diagnose_lines(engine: Engine, file: str) -> None:
    """Answer line by line. Exits with 1 when any line was bad."""
    bad = 0
    try:
        with click.open_file(file, "rb") as stream:
            for number, line in enumerate(_lines(stream), start=1):
                status, document = _answer_line(engine, line)
                bad += status != 200
                write(strict_json.dumps(document if status == 200 else document | {"line": number}))
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            raise
        raise BadInput([f"{file}: {error.strerror or 'cannot be read'}"]) from None
    if bad:
        click.echo(f"threewire: {bad} of the lines could not be answered", err=True)
        raise SystemExit(1)


def _answer_line(engine: Engine, line: bytes) -> tuple[int, dict[str, Any]]:
    """Return status and answer or problem of one line; one bad line does not end the others."""
    try:
        return answering.answer(engine, line)
    except Exception:  # a fault of ours: say so in its place and go on
        return 500, problems.document(500)


def _lines(stream: IO[bytes]) -> Iterator[bytes]:
    """Yield lines without their line feed; of one that is too long only its beginning is kept."""
    while line := stream.readline(MAX_BYTES + 2):
        rest = line
        while not rest.endswith(b"\n") and len(rest) == MAX_BYTES + 2:
            rest = stream.readline(MAX_BYTES + 2)
        yield line.rstrip(b"\r\n")
