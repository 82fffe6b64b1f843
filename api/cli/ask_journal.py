"""Files of an interview: what is saved by name, and the copy that is kept while it runs.

A running copy is written after every answer, so that neither a crash, a closed window nor a power
cut loses more than the line being typed. It goes away when the interview ends in good order.
"""

import contextlib
import os
import re
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

_NAME = re.compile(r"^ask-\d{8}-\d{6}-(\d+)\.json$")


def write(path: Path, text: str) -> None:
    """Write a file whole or not at all. Raises OSError."""
    handle, name = tempfile.mkstemp(prefix=".threewire-", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        Path(name).replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise


def free_name(label: str) -> Path:
    """Return a file name in the working folder that is not taken: ``threewire-4012.json``."""
    words = re.sub(r"[^A-Za-z0-9]+", "-", label).strip("-").lower()[:40] or "interview"
    name = Path(f"threewire-{words}.json")
    count = 2
    while name.exists():
        name = Path(f"threewire-{words}-{count}.json")
        count += 1
    return name


def _folders() -> Iterator[Path]:
    state = os.environ.get("XDG_STATE_HOME")
    with contextlib.suppress(RuntimeError):  # no home folder
        yield (Path(state) if state else Path.home() / ".local" / "state") / "threewire"
    yield Path.cwd()
    yield Path(tempfile.gettempdir())


class Journal:
    """The running copy of one interview."""

    def __init__(self, adopted: Path | None = None) -> None:
        """Begin a running copy, or go on with ``adopted``, one that was left behind."""
        self.adopted = adopted is not None
        self.path: Path | None = adopted
        self.trouble: str | None = None
        self._written = ""

    def keep(self, text: str) -> None:
        """Write the interview as it stands; where that fails, ``trouble`` says why."""
        if text == self._written:
            return
        self.trouble = None
        for folder in [self.path.parent] if self.path else _folders():
            try:
                folder.mkdir(parents=True, exist_ok=True)
                path = (
                    self.path or folder / f"ask-{time.strftime('%Y%m%d-%H%M%S')}-{os.getpid()}.json"
                )
                write(path, text)
            except OSError as error:
                self.trouble = f"{folder}: {error.strerror or 'cannot be written'}"
                continue
            self.path, self._written, self.trouble = path, text, None
            return

    def drop(self) -> None:
        """Remove the running copy: the interview ended in good order."""
        if self.path is not None:
            with contextlib.suppress(OSError):
                self.path.unlink()
            self.path, self._written = None, ""


def is_running_copy(path: Path) -> bool:
    """Return whether a file is a running copy, by its name and folder."""
    if not _NAME.match(path.name):
        return False
    return any(path.resolve().parent == folder.resolve() for folder in _folders())


def left_behind() -> Path | None:
    """Return the newest running copy of an interview that did not end in good order, or None."""
    found: list[Path] = []
    folder = next(_folders())
    with contextlib.suppress(OSError):
        for path in folder.iterdir():
            match = _NAME.match(path.name)
            if match and not _runs(int(match.group(1))):
                found.append(path)
    return max(found, key=lambda path: path.name, default=None)


def _runs(pid: int) -> bool:
    """Return whether a process is still there; where that cannot be told, it is taken as gone."""
    if os.name != "posix":
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
