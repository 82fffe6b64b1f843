"""``threewire ask``: the interview."""

import signal
import sys
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any

import click

from api.cli.inputs import knowledge_from, overlay_option, read
from engine.knowledge import items
from engine.knowledge.faults import unknown


@click.command()
@click.option(
    "--as",
    "audience",
    type=click.Choice(["caller", "technician"]),
    help="Sentences to read out to a caller, or how to do it at the machine.",
)
@click.option(
    "--hands",
    metavar="KINDS",
    help=f"What is at hand: any of {','.join(items.KINDS)}, or all.",
)
@click.option("--resume", metavar="FILE", help="Go on with an interview that was saved.")
@overlay_option
def ask(
    audience: str | None, hands: str | None, resume: str | None, overlay: tuple[str, ...]
) -> None:
    """Find the cause in an interview, from the complaint to a work order.

    One question after another; 0 is always 'I don't know'. Type ? for help. In a pipe, answers
    are read from standard input, one a line; the end of input ends the interview with the work
    order so far, and the exit status is 1 when an answer was not taken.
    """
    from api.cli.ask_journal import Journal, is_running_copy, left_behind
    from api.cli.ask_terminal import Run, Screen
    from api.interview.session import Interview
    from api.interview.state import State
    from api.interview.turn import Block, text
    from engine import Diagnoser

    _set_up_streams()
    first: list[Block] = []
    given = _given(audience, hands)
    talk = Interview(Diagnoser(knowledge_from(overlay)))
    state, journal = State(entries=given), Journal()
    if resume is not None:
        state, note = _resumed(resume, talk)
        if is_running_copy(Path(resume)):  # never saved by name yet: quit offers to
            state, journal = replace(state, saved_to=None, dirty=True), Journal(Path(resume))
        state = talk.given(state, given)
        first += [text(note)] if note else []
    screen = Screen()
    if screen.typed and resume is None and (path := left_behind()) is not None:
        first.append(text(f"An interview was cut off. Go on with: threewire ask --resume {path}"))
    sys.exit(Run(talk, state, screen, journal).hold(tuple(first)))


def _set_up_streams() -> None:
    """Take any bytes that are typed, and let a closing window end the interview in good order."""
    reconfigure: Any = getattr(sys.stdin, "reconfigure", None)
    if reconfigure:
        reconfigure(errors="replace")
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None:
            signal.signal(number, _interrupt)


def _interrupt(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _given(audience: str | None, hands: str | None) -> tuple[Any, ...]:
    """Return the answers that stand on the command line."""
    from api.interview.state import Entry

    found = [Entry("machine", "audience", audience)] if audience else []
    if hands is None:
        return tuple(found)
    words = [one.strip() for one in hands.split(",") if one.strip()]
    wrong = [one for one in words if one not in (*items.KINDS, "all")]
    if wrong or not words:
        message = unknown("kind of check", (wrong or [hands])[0], items.KINDS)
        raise click.BadParameter(
            f"{message}: any of {', '.join(items.KINDS)}", param_hint="--hands"
        )
    kinds = None if "all" in words else [one for one in items.KINDS if one in words]
    return (*found, Entry("machine", "hands", kinds))


def _resumed(name: str, talk: Any) -> tuple[Any, str]:
    """Return the state in a file, and a word on what changed since. Raises BadInput."""
    from api.interview import saved

    source = read(name)
    try:
        state, version = saved.load(source.request(), talk.desk)
    except saved.SavedError as error:
        raise source.complaint(error.faults) from None
    kept = None if name == "-" else str(Path(name))
    now = talk.desk.knowledge.version
    note = "" if version == now else (
        f"It was saved with knowledge {version}; this is {now}. Figures may differ."
    )  # fmt: skip
    return replace(state, saved_to=kept), note
