"""How far a file of many lines is, shown on a terminal and nowhere else."""

import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar


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
