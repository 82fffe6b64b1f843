"""``threewire trace``: what a recording of the pull tells, and what it cannot tell."""

from pathlib import Path

import click

from api import strict_json
from api.cli.inputs import BadInput, knowledge_option, show, told, write
from api.recordings.document import changes, comparison, document, found_words, read_file, sections
from api.recordings.picture import picture as drawn
from api.strict_json import Json
from engine import Knowledge
from engine.traces.trace import ROLES, TraceError

COLUMNS = (
    "What the columns are, in their order, with commas between: time, '-' for one that is not "
    f"used, or one of {', '.join(ROLES)}; each may have *GAIN, +OFFSET and @HERTZ behind it, such "
    "as pull-current*10@20000. Without it the header says."
)


@click.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--channels", default="", metavar="COLUMNS", help=COLUMNS)
@click.option("--rate", type=float, help="Samples a second, where no column is the time.")
@click.option("--cranking", is_flag=True, help="The starter turned the engine meanwhile.")
@click.option("--plot", "picture", metavar="FILE", type=click.Path(dir_okay=False),
              help="Draw the recording, with what was read on it, into FILE (SVG).")  # fmt: skip
@click.option("--beside", metavar="FILE", type=click.Path(dir_okay=False),
              help="Compare with a second recording of these columns.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print what the service would answer.")
@click.option("--case", "case", metavar="NUMBER",
              help="Add the findings that you confirm to a case of 'threewire ask'.")  # fmt: skip
@knowledge_option
def trace(  # noqa: PLR0913, PLR0917 - the options of a command
    file: str, channels: str, rate: float | None, cranking: bool, picture: str | None,
    beside: str | None, as_json: bool, case: str | None, knowledge: Knowledge,
) -> None:  # fmt: skip
    """Read a recording of the pull: what it tells, and what it cannot. FILE is CSV or WAV (.gz)."""

    def read(name: str) -> Json:
        """Return what a file tells. Raises BadInput with the place of each fault."""
        try:
            with told(OSError), Path(name).open("rb") as stream:
                return document(knowledge, read_file(stream, name, channels, rate), cranking)
        except TraceError as error:
            raise BadInput(f"{name}: {fault}" for fault in error.faults) from None

    answer = read(file)
    if beside is not None:
        _compare(answer, read(beside), as_json)
        return
    if picture is not None:
        write(drawn(answer, "A recorded pull") + "\n", picture)
    if as_json:
        write(strict_json.dumps(answer))
    else:
        show(sections(answer))
    if case is not None:
        _add(case, answer, knowledge)


def _compare(first: Json, second: Json, as_json: bool) -> None:
    """Print what changed from one recording to the other, each read as by itself."""
    if as_json:
        told = [one.to_dict() for one in changes(first, second)]
        write(strict_json.dumps({"first": first, "second": second, "changes": told}))
    else:
        show([comparison(first, second), *sections(first)[:2], *sections(second)[:1]])


def _add(number: str, answer: Json, knowledge: Knowledge) -> None:
    """Ask for each finding whether it counts, and add those to the case. Raises BadInput."""
    from api.cases import CaseError
    from api.cli.ask_book import BY, default_file, open_book
    from api.interview.desk import Desk
    from api.store import StoreUnavailableError
    from api.store.schema import SchemaError
    from engine.diagnosis import diagnoser_of

    with told(CaseError, SchemaError, StoreUnavailableError, OSError):
        book = open_book(default_file(), Desk(diagnoser_of(knowledge)))
        book.get(number)
        kept = [
            one for one in answer["findings"]
            if click.confirm(f"Add {one['check']}: {found_words(one)}?", default=True)
        ]  # fmt: skip
        if kept:
            book.add_findings(number, kept, BY)
    click.echo(f"{len(kept)} findings added to case {number}.")
