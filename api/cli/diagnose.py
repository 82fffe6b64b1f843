"""``threewire diagnose`` and ``threewire draw``: one request from a file, or many, one a line."""

import contextlib
import re
from pathlib import Path
from typing import cast

import click
import yaml

from api import strict_json
from api.answers.answering import MAX_BYTES
from api.answers.batch import WorkerLostError, answers, split
from api.answers.report import sections
from api.cli.inputs import BadInput, knowledge_option, show, told, write
from api.drawing import SHAPES, Shape, in_full, svg
from api.strict_json import Json
from engine import Knowledge, KnowledgeError, RequestError
from engine.diagnosis import diagnoser_of
from engine.knowledge.text import load_yaml

BLOCK = 64 * 1024
_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


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
@knowledge_option
def diagnose(file: str, as_json: bool, ndjson: bool, jobs: int, knowledge: Knowledge) -> None:
    """Diagnose the machine that FILE tells of.

    FILE is JSON or YAML; - is standard input. Prints a report to read, or with --json what the
    service would answer. Exit status 1 when the request, or any line of it, is bad.
    """
    if as_json and ndjson:
        raise click.UsageError("--json and --ndjson exclude each other: choose one")
    if jobs > 1 and not ndjson:
        raise click.UsageError("--jobs goes with --ndjson: one request is one job")
    if ndjson:
        _diagnose_lines(knowledge, file, jobs)
        return
    request = RequestFile(file)
    answer = request.answer(knowledge, request.data())
    if as_json:
        write(strict_json.dumps(answer))
    else:
        show(sections(answer, knowledge))


def _diagnose_lines(knowledge: Knowledge, file: str, jobs: int) -> None:
    """Answer line by line. Exits with 1 when any line was bad, with 70 when a process was lost."""
    bad = 0
    try:
        with told(OSError), click.open_file(file, "rb") as stream:
            lines = split(getattr(stream, "read1", stream.read), BLOCK)
            for good, text in answers(knowledge, lines, jobs):
                bad += not good
                write(text)
    except WorkerLostError as error:
        click.echo(f"threewire: {error}", err=True)
        raise SystemExit(70) from None  # not the input's fault
    if bad:
        click.echo(f"threewire: {bad} of the lines could not be answered", err=True)
        raise SystemExit(1)


@click.command()
@click.argument("file", metavar="FILE|-")
@click.option("--shape", type=click.Choice(SHAPES), default="wide", show_default=True,
              help="For a desk or a sheet of paper (wide), or for a phone (tall).")  # fmt: skip
@click.option("-o", "--output", metavar="FILE", help="Write it there, not on standard output.")
@click.option("--side", type=click.Choice(["left", "right"]), help="Which of two brake solenoids.")
@knowledge_option
def draw(
    file: str, shape: Shape, output: str | None, side: str | None, knowledge: Knowledge
) -> None:
    """Draw the circuit of the machine that FILE tells of.

    FILE is what threewire diagnose takes. The drawing (SVG) shows what is proven good, what is
    suspected, what was read, and where to put the meter next. Exit status 1 when the request is
    bad or the drawing cannot be written.
    """
    source = RequestFile(file)
    request = cast(Json, in_full(source.data()))
    answer = source.answer(knowledge, request)
    if side is not None and side not in answer.get("sides", {}):
        raise BadInput([f"--side {side}: no finding in {source.name} is of that side"])
    write(svg(knowledge, request, answer, shape=shape, side=side) + "\n", output)


class RequestFile:
    """A request as it stands in a file; - is standard input.

    Raises BadInput when it cannot be read.
    """

    def __init__(self, name: str) -> None:
        self.name = "standard input" if name == "-" else name
        with told(OSError), click.open_file(name, "rb") as stream:
            self.raw = stream.read(MAX_BYTES + 1)
        if len(self.raw) > MAX_BYTES:
            raise BadInput([f"{name}: larger than 1 MiB; give one machine's findings"])

    def data(self) -> object:
        """Return the data. Raises BadInput for what is not JSON or YAML."""
        try:
            if self._is_json():
                return strict_json.loads(self.raw)
            data: object = load_yaml(self.raw.decode("utf-8"), self.name)
            strict_json.dumps(data).encode("utf-8")
        except strict_json.JsonError as fault:
            raise BadInput([f"{self.name}: {fault}"]) from None
        except UnicodeDecodeError:
            raise BadInput([f"{self.name}: the text is not UTF-8"]) from None
        except UnicodeEncodeError:
            raise BadInput([f"{self.name}: half of a surrogate pair in a text"]) from None
        except KnowledgeError as error:
            raise BadInput(str(error).splitlines()) from None
        return data

    def _is_json(self) -> bool:
        """A name that ends in .json says so; else a text that starts like an object is taken so."""
        suffix = Path(self.name).suffix.lower()
        if suffix in (".yaml", ".yml"):
            return False
        return suffix == ".json" or self.raw.lstrip(b" \t\r\n")[:1] in (b"{", b"[", b'"')

    def answer(self, knowledge: Knowledge, request: object) -> Json:
        """Return the answer to its request. Raises BadInput with the line of every fault in it."""
        try:
            return diagnoser_of(knowledge).diagnose(cast(Json, request))
        except RequestError as error:
            root = None
            with contextlib.suppress(yaml.YAMLError, RecursionError):  # JSON that is not YAML
                root = yaml.compose(self.raw.decode("utf-8"), Loader=_Loader)
            lines = [f"{self.name}{_line(root, one.path)}: {one}" for one in error.faults]
            raise BadInput(lines) from None


def _line(node: yaml.Node | None, path: str) -> str:
    """Return ``:LINE`` of the nearest part below ``node`` that ``path`` leads to, or nothing."""
    line = ""
    for step in ["", *re.findall(r"[^.\[\]]+", path)]:
        if isinstance(node, yaml.MappingNode) and step:
            node = next((value for key, value in node.value if key.value == step), None)
        elif isinstance(node, yaml.SequenceNode) and step:
            node = node.value[int(step)] if int(step) < len(node.value) else None
        line = f":{node.start_mark.line + 1}" if node else line
    return line
