"""The interview on a terminal or in a pipe: reads lines, shows blocks, keeps files."""

import contextlib
import os
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from api.cli.ask_journal import Journal, free_name, write
from api.interview import saved
from api.interview.layout import render
from api.interview.next_step import target_of
from api.interview.session import Interview
from api.interview.state import State, case_of
from api.interview.turn import Block, Effect, error, text

PROMPT = "> "
MORE = "-- Enter goes on --"
LONGEST_LINE = 20_000  # characters; nobody types more
INTERRUPTED = 130  # exit status after Ctrl-C, as shells have it


class Screen:
    """Where the interview is shown and where lines come from."""

    def __init__(self) -> None:
        self.typed = sys.stdin.isatty()
        self.paged = self.typed and sys.stdout.isatty()
        self.lines_read = 0
        self._ahead: str | None = None
        self._ended = False
        self._reader: Any = _line_editor() if self.typed else None

    def complete_with(self, words: Callable[[], list[str]]) -> None:
        """Let the tabulator key complete the words that fit now."""
        if self._reader is not None:
            self._reader.set_completer(_completer(words))

    def show(self, blocks: tuple[Block, ...]) -> None:
        """Show blocks; on a terminal, stop where they would scroll away unread."""
        size = self._size()
        parts = render(blocks, size.columns)
        if not self.paged:
            print("\n".join(line for part in parts for line in part), flush=True)
            return
        height, used = max(size.lines - 2, 5), 0
        for part in pages(blocks, parts, height):
            if used and used + len(part) > height:
                self._pause()
                used = 0
            used += len(part)
            print("\n".join(part), flush=True)

    def _size(self) -> os.terminal_size:
        """Return the size of the screen as it is now; what the environment says may be stale."""
        if self.paged:
            with contextlib.suppress(OSError):
                size = os.get_terminal_size(sys.stdout.fileno())
                if size.columns and size.lines:
                    return size
        return shutil.get_terminal_size()

    def _pause(self) -> None:
        """Wait for Enter; a line typed here answers the question that follows."""
        try:
            typed = input(MORE)
        except EOFError:
            self._ended = True
            return
        if typed.strip():
            self._ahead = typed

    def read(self) -> str | None:
        """Return the next line, or None at the end of input."""
        self.lines_read += 1
        if self._ahead is not None:
            line, self._ahead = self._ahead, None
            print(f"{PROMPT}{line}", flush=True)
            return line
        if self._ended:
            return None
        if not self.typed:
            line = sys.stdin.readline(LONGEST_LINE)
            if line:
                print(f"\n{PROMPT}{line.rstrip()}", flush=True)
            return line.rstrip("\r\n") if line else None
        try:
            return input(f"\n{PROMPT}")
        except EOFError:
            print(flush=True)
            return None


def pages(blocks: Sequence[Block], parts: Sequence[list[str]], height: int) -> Iterator[list[str]]:
    """Yield the lines of blocks in parts no longer than a screen.

    Where it fits, a question stays on one screen with the caution before it.
    """
    waiting: list[str] = []
    for block, part in zip(blocks, parts, strict=True):
        together = block.kind == "question" and len(waiting) + len(part) <= height
        for lines in [[*waiting, *part]] if together else [waiting, part]:
            if lines is not part or block.kind != "caution":
                yield from _cut(lines, height)
        waiting = part if block.kind == "caution" else []
    yield from _cut(waiting, height)


def _cut(lines: list[str], height: int) -> Iterator[list[str]]:
    for start in range(0, len(lines), height):
        yield lines[start : start + height]


def _line_editor() -> Any:
    """Return the line editor with history and completion, where there is one."""
    try:
        import readline
    except ImportError:  # not on every system
        return None
    readline.set_completer_delims(" ")
    readline.parse_and_bind("tab: complete")
    return readline


def _completer(words: Callable[[], list[str]]) -> Callable[[str, int], str | None]:
    def complete(begun: str, number: int) -> str | None:
        found = sorted({one for one in words() if one.startswith(begun.lower())})
        return f"{found[number]} " if number < len(found) else None

    return complete


class Run:
    """One interview being held."""

    def __init__(self, talk: Interview, state: State, screen: Screen, journal: Journal) -> None:
        self.talk = talk
        self.state = state
        self.screen = screen
        self.journal = journal
        self.bad = 0
        screen.complete_with(lambda: talk.words(self.state))

    def hold(self, first: tuple[Block, ...] = ()) -> int:
        """Hold the interview to its end and return the exit status."""
        try:
            return self._hold(first)
        except KeyboardInterrupt:
            self._keep()
            self._say_where("Stopped.")
            return INTERRUPTED
        except BaseException as fault:
            self._keep()
            closed = isinstance(fault, BrokenPipeError)
            self._say_where("The output was closed." if closed else "Something went wrong.")
            raise

    def _hold(self, first: tuple[Block, ...]) -> int:
        turn = self.talk.open(self.state)
        turn = replace(turn, blocks=(*first, *turn.blocks))
        while True:
            self.state = turn.state
            self.screen.show(turn.blocks)
            self._keep()
            if self._done(turn.effects):
                self.journal.drop()
                return self._status()
            line = self.screen.read()
            if line is None:
                return self._end_of_input()
            turn = self.talk.step(self.state, line)
            if turn.bad:
                self._note_bad(line)

    def _status(self) -> int:
        return 1 if self.bad and not self.screen.typed else 0

    def _note_bad(self, line: str) -> None:
        self.bad += 1
        if not self.screen.typed:
            shown = line if len(line) <= 60 else line[:57] + "..."
            print(f"threewire: line {self.screen.lines_read} was not taken: {shown!r}",
                  file=sys.stderr)  # fmt: skip

    def _end_of_input(self) -> int:
        """Show the work order so far; what was typed by hand is kept in a file."""
        if target_of(self.state, self.talk.desk).kind not in ("end", "refer"):
            self.screen.paged = False
            self.screen.show(tuple(self.talk.summary(self.state)))
        if self.screen.typed and self.state.dirty:
            self._say_where("The input ended.")
        elif not self.journal.adopted:
            self.journal.drop()
        return self._status()

    def _done(self, effects: tuple[Effect, ...]) -> bool:
        """Save and end as asked; a save that fails keeps the interview going."""
        for effect in effects:
            if effect.kind == "quit":
                return True
            if not self._save(effect.path):
                self.bad += 1
                self.state = replace(self.state, target=None)
                return False
        return False

    def _save(self, wanted: str) -> bool:
        state = self.state
        label = str(case_of(state.entries).fields.get("label") or "")
        path = Path(wanted or state.saved_to or free_name(label)).expanduser()
        if path.exists() and str(path) != state.saved_to:
            self._tell(error(f"{path} is there already. Type save and another name."))
            return False
        try:
            write(path, self._text())
        except (OSError, ValueError) as fault:
            reason = getattr(fault, "strerror", None) or "it cannot be written"
            self._tell(error(f"{path}: {reason}. Nothing is lost; type save and another name."))
            return False
        self.state = replace(state, saved_to=str(path), dirty=False)
        self._tell(text(f"Saved. Go on later with: threewire ask --resume {path}"))
        return True

    def _tell(self, block: Block) -> None:
        self.screen.show((block,))

    def _text(self) -> str:
        return saved.dump(self.state, self.talk.desk.knowledge.version)

    def _keep(self) -> None:
        """Write the running copy, once there is something to keep."""
        if not self.state.dirty:
            return
        had = self.journal.trouble
        self.journal.keep(self._text())
        if self.journal.trouble and not had:
            print(f"threewire: no running copy can be kept ({self.journal.trouble}). "
                  "Type save FILE now and then.", file=sys.stderr)  # fmt: skip

    def _say_where(self, why: str) -> None:
        """Say on standard error where everything is."""
        with contextlib.suppress(OSError):
            if self.state.dirty and self.journal.path is not None:
                print(f"\nthreewire: {why} Everything is in {self.journal.path}\nGo on with: "
                      f"threewire ask --resume {self.journal.path}", file=sys.stderr)  # fmt: skip
            else:
                print(f"\nthreewire: {why} There was nothing new to keep.", file=sys.stderr)
