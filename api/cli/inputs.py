"""What the commands read and write: the knowledge base, a file, sections of text.

Whatever is wrong with it ends in one exception that prints file, line and path, and exits with 1.
"""

import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import click

from api.answers.text import WIDTH, Section, as_text
from api.settings import KNOWLEDGE_FOLDERS
from engine import Knowledge, KnowledgeError, load_knowledge
from engine.diagnosis import shipped_knowledge


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


def _load(_: click.Context, __: click.Parameter, folders: Sequence[str]) -> Knowledge:
    """Return the knowledge base. Raises BadInput that lists every fault in it."""
    with told(KnowledgeError, OSError):
        found = load_knowledge([*map(Path, folders)]) if folders else shipped_knowledge()
    return found


_KB: dict[str, Any] = {
    "multiple": True, "envvar": KNOWLEDGE_FOLDERS, "metavar": "DIR",
    "type": click.Path(file_okay=False),
    "help": "Folder with your own knowledge, laid over the shipped one. May be given again. "
    f"The setting {KNOWLEDGE_FOLDERS} names such folders for every command.",
}  # fmt: skip
# the folders of a shop's own knowledge, and the base that is loaded with them
overlay_option = click.option("--kb", "overlay", **_KB)
knowledge_option = click.option("--kb", "knowledge", callback=_load, **_KB)


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


def show(sections: Sequence[Section]) -> None:
    """Print sections of text, no wider than the terminal."""
    columns = shutil.get_terminal_size((WIDTH, 24)).columns
    click.echo("\n".join(as_text(sections, min(WIDTH, columns))).rstrip())
