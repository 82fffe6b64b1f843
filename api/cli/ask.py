"""``threewire ask`` and ``threewire hear``: the interview, and what a caller's words may mean."""

import signal
import sys
from pathlib import Path
from typing import Any

import click

from api import strict_json
from api.answers.text import Line, Section
from api.cases import CaseError
from api.cases.case import Case
from api.cli.ask_book import Keeper, default_file, open_book
from api.cli.ask_terminal import Run, Screen
from api.cli.inputs import BadInput, knowledge_option, show
from api.interview.contents import accept, entries_of
from api.interview.desk import Desk
from api.interview.hearing import HearingAnswer, quoted
from api.interview.hearing import hear as heard_in
from api.interview.session import Interview
from api.interview.state import Entry, InterviewState
from api.interview.turn import Block
from api.interview.turn import text as block
from api.store import SchemaError, StoreUnavailableError
from engine import Knowledge
from engine.diagnosis import diagnoser_of
from engine.knowledge import items


@click.command()
@click.option(
    "--as", "audience", type=click.Choice(["caller", "technician"]),
    help="Sentences to read out to a caller, or how to do it at the machine.",
)  # fmt: skip
@click.option("--resume", metavar="NUMBER", help="Go on with the interview of this case.")
@click.option(
    "--book", metavar="FILE", type=click.Path(dir_okay=False, path_type=Path),
    help="SQLite file that interviews are kept in as cases; left out, a file of this user.",
)  # fmt: skip
@knowledge_option
def ask(audience: str | None, resume: str | None, book: Path | None, knowledge: Knowledge) -> None:
    """Find the cause in an interview, from the complaint to a work order.

    One question after another; 0 is always 'I don't know'. Type ? for help. Every answer is kept
    at once as part of a case, and --resume goes on with it. In a pipe, answers are read from
    standard input, one a line; the end of input ends the interview with the work order so far, and
    the exit status is 1 when an answer was not taken.
    """
    _set_up_streams()
    given = (Entry("machine", "audience", audience),) if audience else ()
    talk, screen = Interview(diagnoser_of(knowledge)), Screen()
    keeper = _keeper(book, resume, talk.desk)
    state, first = InterviewState(entries=given), _unfinished(keeper) if screen.typed else []
    if keeper.case is not None:
        state, first = _resumed(keeper.case, talk, given)
    sys.exit(Run(talk, state, screen, keeper).hold(tuple(first)))


def _keeper(file: Path | None, resume: str | None, desk: Desk) -> Keeper:
    """Return what keeps this interview. Raises BadInput where a book that is named is of no use."""
    try:
        book = open_book(file or default_file(), desk)
        return Keeper(book, book.get(resume) if resume is not None else None)
    except CaseError as error:
        raise BadInput([str(error)]) from None
    except (SchemaError, StoreUnavailableError, OSError) as error:
        if file is not None or resume is not None:
            raise BadInput([f"{file or default_file()}: {error}"]) from None
        click.echo(f"threewire: the answers cannot be kept: {error}", err=True)
        return Keeper(None)


def _unfinished(keeper: Keeper) -> list[Block]:
    """Return a word on the interview that was left last, if it came to no end."""
    cases = keeper.book.list(state="open", limit=1).cases if keeper.book else ()
    return [
        block(f"Not finished yet: case {one.shown_number} {one.machine_type}".rstrip() + ". "
              f"Go on with: threewire ask --resume {one.number}")
        for one in cases
    ]  # fmt: skip


def _resumed(
    case: Case, talk: Interview, given: tuple[Entry, ...]
) -> tuple[InterviewState, list[Block]]:
    """Return the state of a case, and what of it the present knowledge does not take."""
    entries = entries_of(case)
    kept, dropped = accept(entries, len(entries), talk.desk)
    first = [block(*dropped, title="No longer fits, and was left out")] if dropped else []
    return talk.given(InterviewState(entries=tuple(kept)), given), first


def _set_up_streams() -> None:
    """Take any bytes that are typed, and let a closing window end the interview in good order."""
    reconfigure: Any = getattr(sys.stdin, "reconfigure", None)
    if reconfigure:
        reconfigure(errors="replace")
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.default_int_handler)


@click.command()
@click.argument("text")
@click.option("--duty", type=click.Choice(items.DUTIES), help="What the solenoid does.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@knowledge_option
def hear(text: str, duty: str | None, as_json: bool, knowledge: Knowledge) -> None:
    """Say what a caller's words (TEXT) may mean. Nothing is taken before you confirm it."""
    found = heard_in(knowledge, text, duty)
    sections = _heard(found)
    if as_json:
        click.echo(strict_json.dumps(found.to_dict()))
    elif sections:
        show(sections)
    else:
        click.echo("Nothing is heard in that.")


def _heard(found: HearingAnswer) -> list[Section]:
    rows = {
        "STOP. Read this out first": [(one.text, one.heard) for one in found.cautions],
        "Perhaps found": [
            (f"{one.name}: {one.words}", one.heard) for one in (*found.complaints, *found.findings)
        ],
        "Perhaps it is": [(one.name, one.heard) for one in found.causes],
        "Asked for": [(one.name, one.heard) for one in found.checks],
    }
    return [
        Section(title, [Line(f"{words} ({quoted(heard)})") for words, heard in lines])
        for title, lines in rows.items() if lines
    ]  # fmt: skip
