"""What the commands read and write: a request, its answer, the knowledge base, a file.

Whatever is wrong with it ends in one exception that prints file, line and path, and exits with 1.
"""

import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, TypeVar, cast

import click
import yaml

from api import strict_json
from api.answers.answering import MAX_BYTES
from api.settings import KNOWLEDGE_FOLDERS
from api.strict_json import JsonObject
from engine import Knowledge, KnowledgeError, RequestError, load_knowledge
from engine.diagnosis import diagnoser_of, shipped_knowledge
from engine.knowledge.faults import unknown
from engine.knowledge.text import load_yaml

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_Command = TypeVar("_Command", bound=Callable[..., Any])


class BadInput(click.ClickException):
    """Something that was read is wrong; one line a fault on standard error, exit status 1."""

    exit_code = 1

    def __init__(self, lines: Iterable[str]) -> None:
        self.lines = list(lines)
        super().__init__("\n".join(self.lines))

    def show(self, file: IO[Any] | None = None) -> None:
        """Print every fault on standard error."""
        for line in self.lines:
            click.echo(f"threewire: {line}", err=True, file=file)


def overlay_option(command: _Command) -> _Command:
    """Add ``--kb``, folders with a shop's own knowledge; the setting is for all commands."""
    option = click.option(
        "--kb", "overlay", multiple=True, envvar=KNOWLEDGE_FOLDERS, metavar="DIR",
        type=click.Path(file_okay=False),
        help="Folder with your own knowledge, laid over the shipped one. May be given again. "
        f"The setting {KNOWLEDGE_FOLDERS} names such folders for every command.",
    )  # fmt: skip
    return option(command)


class Listed(click.Choice[str]):
    """A closed set of words; for one that is not in it the nearest is named."""

    def __init__(self, kind: str, words: Sequence[str]) -> None:
        self.kind = kind
        super().__init__(words)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the word; bad usage for another."""
        if value not in self.choices:
            self.fail(unknown(self.kind, value, self.choices), param, ctx)
        return str(value)


def knowledge_from(overlays: Sequence[str]) -> Knowledge:
    """Load the knowledge base. Raises BadInput that lists every fault in it."""
    folders = [Path(folder) for folder in overlays]
    with told(KnowledgeError, OSError):
        found = load_knowledge(folders) if folders else shipped_knowledge()
    return found


@contextmanager
def told(*kinds: type[Exception]) -> Iterator[None]:
    """Turn what may go wrong into BadInput, one line a fault; OSError with the file's name."""
    try:
        yield
    except BrokenPipeError:  # nobody reads any more: nothing is wrong with the input
        raise
    except kinds as error:
        lines = str(error).splitlines()
        if isinstance(error, OSError):
            name = f"{error.filename}: " if error.filename else ""
            lines = [f"{name}{error.strerror or 'cannot be used'}"]
        raise BadInput(lines) from None


class RequestSource:
    """A request as it stood in a file: its name, its text, and the lines of its parts."""

    def __init__(self, name: str, raw: bytes) -> None:
        self.name = "standard input" if name == "-" else name
        self.raw = raw

    def request(self) -> object:
        """Return the data. Raises BadInput for what is not JSON or YAML."""
        if self._is_json():
            try:
                return strict_json.loads(self.raw)
            except strict_json.JsonError as fault:
                raise BadInput([f"{self.name}: {fault}"]) from None
        return self._yaml()

    def _is_json(self) -> bool:
        """A name that ends in .json says so; else a text that starts like an object is taken so."""
        suffix = Path(self.name).suffix.lower()
        if suffix in (".yaml", ".yml"):
            return False
        return suffix == ".json" or self.raw.lstrip(b" \t\r\n")[:1] in (b"{", b"[", b'"')

    def _yaml(self) -> object:
        try:
            data: object = load_yaml(self.raw.decode("utf-8"), self.name)
            strict_json.dumps(data).encode("utf-8")
        except UnicodeDecodeError:
            raise BadInput([f"{self.name}: the text is not UTF-8"]) from None
        except UnicodeEncodeError:
            raise BadInput([f"{self.name}: half of a surrogate pair in a text"]) from None
        except KnowledgeError as error:
            raise BadInput(str(error).splitlines()) from None
        return data

    def complaint(self, faults: Iterable[Any]) -> BadInput:
        """Return the exception that says, for each fault, file, line, path and message."""
        root = self._root()
        return BadInput(f"{self.name}{_line(root, fault.path)}: {fault}" for fault in faults)

    def _root(self) -> yaml.Node | None:
        """Return the text as nodes that know their lines, or None where YAML cannot read it."""
        try:
            root: yaml.Node | None = yaml.compose(self.raw.decode("utf-8"), Loader=_Loader)
        except (yaml.YAMLError, RecursionError):  # JSON that YAML does not read
            return None
        return root


def _line(node: yaml.Node | None, path: str) -> str:
    """Return ``:LINE`` of the nearest part below ``node`` that ``path`` leads to, or nothing."""
    if node is None:
        return ""
    for step in re.findall(r"[^.\[\]]+", path):
        inner = _inside(node, step)
        if inner is None:
            break
        node = inner
    return f":{node.start_mark.line + 1}"


def _inside(node: yaml.Node, step: str) -> yaml.Node | None:
    """Return the part of ``node`` that one step of a path leads to."""
    if isinstance(node, yaml.MappingNode):
        found = (value for key, value in node.value if getattr(key, "value", None) == step)
        return next(found, None)
    if isinstance(node, yaml.SequenceNode) and step.isdecimal() and int(step) < len(node.value):
        inner: yaml.Node = node.value[int(step)]
        return inner
    return None


def read(name: str) -> RequestSource:
    """Read a file, or standard input for ``-``. Raises BadInput when it cannot be read."""
    with told(OSError), click.open_file(name, "rb") as stream:
        raw = stream.read(MAX_BYTES + 1)
    if len(raw) > MAX_BYTES:
        raise BadInput([f"{name}: larger than 1 MiB; give one machine's findings"])
    return RequestSource(name, raw)


def answered(knowledge: Knowledge, source: RequestSource, request: object) -> JsonObject:
    """Return the answer to a request. Raises BadInput with the line of every fault in it."""
    try:
        return diagnoser_of(knowledge).diagnose(cast(JsonObject, request))
    except RequestError as error:
        raise source.complaint(error.faults) from None


def write(text: str, name: str | None = None) -> None:
    """Write UTF-8 into a file, or at once to standard output, whatever the terminal's encoding is.

    Raises BadInput when the file cannot be written.
    """
    if name is None or name == "-":
        sys.stdout.buffer.write(text.encode("utf-8"))
        sys.stdout.buffer.flush()
        return
    with told(OSError):
        Path(name).write_bytes(text.encode("utf-8"))
