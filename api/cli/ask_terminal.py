"""The interview on a terminal or in a pipe: reads lines, shows blocks, keeps files."""

import contextlib
import os
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from api.cli.ask_book import Keeper
from api.interview.next_step import target_of
from api.interview.session import Interview
from api.interview.state import InterviewState
from api.interview.turn import MAX_WIDTH, Block, as_text, error, render, text

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

    def __init__(
        self, talk: Interview, state: InterviewState, screen: Screen, keeper: Keeper
    ) -> None:
        self.talk = talk
        self.state = state
        self.screen = screen
        self.keeper = keeper
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
            if turn.save is not None:
                self._save(turn.save)
            if turn.quit:
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
        """Show the work order so far; whoever typed it by hand is told where it is kept."""
        if target_of(self.state, self.talk.desk).kind not in ("end", "refer"):
            self.screen.paged = False
            self.screen.show(tuple(self.talk.summary(self.state)))
        if self.screen.typed:
            self._say_where("The input ended.")
        return self._status()

    def _save(self, wanted: str) -> None:
        """Write the work order to a file that is not there yet, and say where all is kept."""
        try:
            if wanted:
                with Path(wanted).expanduser().open("x", encoding="utf-8") as stream:
                    stream.write(as_text(self.talk.summary(self.state), MAX_WIDTH) + "\n")
                self._tell(text(f"The work order is in {wanted}."))
        except FileExistsError:
            self._refuse(f"{wanted} is there already. Type save and another name.")
        except (OSError, ValueError) as fault:
            reason = getattr(fault, "strerror", None) or "it cannot be written"
            self._refuse(f"{wanted}: {reason}. Nothing is lost; type save and another name.")
        if self.keeper.number:
            self._tell(text(f"Kept as case {self.keeper.number}. Go on later with: {self._again}"))
        elif not wanted:
            self._refuse("Nothing is kept yet. First say what the trouble is with.")

    def _refuse(self, message: str) -> None:
        self.bad += 1
        self._tell(error(message))

    def _tell(self, block: Block) -> None:
        self.screen.show((block,))

    @property
    def _again(self) -> str:
        """Return the command that goes on with this interview."""
        return f"threewire ask --resume {self.keeper.number.replace(' ', '')}"

    def _keep(self) -> None:
        """Bring the case book up to date, and say once when that cannot be done."""
        had = self.keeper.trouble
        self.keeper.keep(self.state)
        if self.keeper.trouble and not had:
            print(f"threewire: the answers cannot be kept: {self.keeper.trouble}", file=sys.stderr)

    def _say_where(self, why: str) -> None:
        """Say on standard error where everything is."""
        with contextlib.suppress(OSError):
            if self.keeper.number and not self.keeper.trouble:
                print(f"\nthreewire: {why} Everything is in case {self.keeper.number}\nGo on with: "
                      f"{self._again}", file=sys.stderr)  # fmt: skip
            else:
                print(f"\nthreewire: {why} There was nothing to keep.", file=sys.stderr)
