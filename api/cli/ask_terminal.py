"""The interview on a terminal or in a pipe: reads lines, shows blocks, keeps files."""

import contextlib
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

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
        self.lines_read = 0
        self._paged = self.typed and sys.stdout.isatty()
        self._used = 0  # rows of the screen since somebody typed
        self._ahead: list[str | None] = []  # what was typed where a page ended; None is the end

    def complete_with(self, words: Callable[[], list[str]]) -> None:
        """Let lines be edited, and the tabulator key complete the words that fit now."""

        def completed(begun: str, number: int) -> str | None:
            found = sorted({one for one in words() if one.startswith(begun.lower())})
            return f"{found[number]} " if number < len(found) else None

        with contextlib.suppress(ImportError):  # not every system has it
            import readline

            readline.set_completer_delims(" ")
            readline.parse_and_bind("tab: complete")
            readline.set_completer(completed)

    def show(self, *blocks: Block) -> None:
        """Show blocks; on a terminal, stop where they would scroll away unread."""
        size = shutil.get_terminal_size()
        if not self._paged:
            print(as_text(blocks, size.columns), flush=True)
            return
        height = max(size.lines - 2, 5)
        for lines in pages(blocks, render(blocks, size.columns), height):
            if self._used and self._used + len(lines) > height:
                self._pause()
            self._used += len(lines)
            print("\n".join(lines), flush=True)

    def _pause(self) -> None:
        """Wait for Enter; a line typed here answers what is asked after it."""
        self._used = 0
        if self._ahead[-1:] == [None]:
            return
        try:
            typed = input(MORE)
        except EOFError:
            print(flush=True)
            self._ahead.append(None)
        else:
            self._ahead += [typed] if typed.strip() else []

    def read(self) -> str | None:
        """Return the next line, or None at the end of input."""
        self.lines_read, self._used = self.lines_read + 1, 0
        if self._ahead:
            ahead = self._ahead.pop(0)
            print(f"\n{PROMPT}{ahead or ''}", flush=True)
            return ahead
        if self.typed:
            try:
                return input(f"\n{PROMPT}")
            except EOFError:
                print(flush=True)
                return None
        line = sys.stdin.readline(LONGEST_LINE)
        if line:
            print(f"\n{PROMPT}{line.rstrip()}", flush=True)
        return line.rstrip("\r\n") if line else None


def pages(blocks: Sequence[Block], parts: Sequence[list[str]], height: int) -> Iterator[list[str]]:
    """Yield the lines of blocks in pieces no longer than a screen.

    Where it fits, a caution stays on one screen with what comes after it.
    """
    held: list[str] = []
    for block, part in zip(blocks, parts, strict=True):
        if len(held) + len(part) > height:
            yield from _cut(held, height)
            held = []
        held = [*held, *part]
        if block.kind != "caution":
            yield from _cut(held, height)
            held = []
    yield from _cut(held, height)


def _cut(lines: list[str], height: int) -> Iterator[list[str]]:
    for start in range(0, len(lines), height):
        yield lines[start : start + height]


class Run:
    """One interview being held."""

    def __init__(
        self, talk: Interview, state: InterviewState, screen: Screen, keeper: Keeper
    ) -> None:
        self.talk, self.state, self.screen, self.keeper = talk, state, screen, keeper
        self.bad = 0
        if screen.typed:
            screen.complete_with(lambda: talk.words(self.state))

    def hold(self, first: tuple[Block, ...] = ()) -> int:
        """Hold the interview to its end and return the exit status."""
        try:
            self._hold(first)
        except KeyboardInterrupt:
            self._keep()
            self._say_where("Stopped.")
            return INTERRUPTED
        except BaseException as fault:
            self._keep()
            closed = isinstance(fault, BrokenPipeError)
            self._say_where("The output was closed." if closed else "Something went wrong.")
            raise
        return 1 if self.bad and not self.screen.typed else 0

    def _hold(self, first: tuple[Block, ...]) -> None:
        turn = self.talk.open(self.state)
        turn = replace(turn, blocks=(*first, *turn.blocks))
        while True:
            self.state = turn.state
            self.screen.show(*turn.blocks)
            self._keep()
            if turn.save is not None:
                self._save(turn.save)
            if turn.quit:
                return
            line = self.screen.read()
            if line is None:
                self._end_of_input()
                return
            turn = self.talk.step(self.state, line)
            self.bad += turn.bad
            if turn.bad and not self.screen.typed:
                shown = line if len(line) <= 60 else line[:57] + "..."
                print(f"threewire: line {self.screen.lines_read} was not taken: {shown!r}",
                      file=sys.stderr)  # fmt: skip

    def _end_of_input(self) -> None:
        """Show the work order so far; whoever typed it by hand is told where it is kept."""
        if target_of(self.state, self.talk.desk).kind not in ("end", "refer"):
            self.screen.show(*self.talk.summary(self.state))
        if self.screen.typed:
            self._say_where("The input ended.")

    def _save(self, wanted: str) -> None:
        """Write the work order to a file that is not there yet, and say where all is kept."""
        try:
            if wanted:
                with Path(wanted).expanduser().open("x", encoding="utf-8") as stream:
                    stream.write(as_text(self.talk.summary(self.state), MAX_WIDTH) + "\n")
                self.screen.show(text(f"The work order is in {wanted}."))
        except FileExistsError:
            self._refuse(f"{wanted} is there already. Type save and another name.")
        except (OSError, ValueError) as fault:
            reason = getattr(fault, "strerror", None) or "it cannot be written"
            self._refuse(f"{wanted}: {reason}. Nothing is lost; type save and another name.")
        if self.keeper.number:
            again = f"Kept as case {self.keeper.number}. Go on later with: {self._again}"
            self.screen.show(text(again))
        elif not wanted:
            self._refuse("Nothing is kept yet. First say what the trouble is with.")

    def _refuse(self, message: str) -> None:
        self.bad += 1
        self.screen.show(error(message))

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
        said = "There was nothing to keep."
        if self.keeper.number and not self.keeper.trouble:
            said = f"Everything is in case {self.keeper.number}\nGo on with: {self._again}"
        with contextlib.suppress(OSError):
            print(f"\nthreewire: {why} {said}", file=sys.stderr)
