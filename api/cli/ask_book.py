"""The case book of a terminal interview: one SQLite file, each answer a step of a case.

What was typed is in the book before the next question stands, so that neither a crash, a closed
window nor a power cut loses more than the line being typed.
"""

from pathlib import Path

from platformdirs import user_data_path
from sqlalchemy.exc import DBAPIError

from api.cases import Book, CaseError
from api.cases.case import Case
from api.interview.contents import bare, contents_of
from api.interview.desk import Desk
from api.interview.state import InterviewState
from api.store import Database, SchemaState, StoreUnavailableError, schema_state, upgrade
from api.store.schema import require_current
from api.strict_json import Json
from engine import RequestError

BY = "terminal"
_BECAUSE = "taken back or changed"


def default_file() -> Path:
    """Return the book of this user, alone in a folder: SQLite keeps two more files beside it."""
    return user_data_path("threewire") / "ask" / "cases.sqlite3"


def open_book(file: Path, desk: Desk) -> Book:
    """Return the book in a file; one that is not there is made, readable by this user alone.

    Raises SchemaError, StoreUnavailableError or OSError.
    """
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    database = Database(f"sqlite:///{file}")
    try:
        if schema_state(database) is SchemaState.EMPTY:
            upgrade(database)
            file.chmod(0o600)
        require_current(database)
    except DBAPIError:
        raise StoreUnavailableError("it is no SQLite file") from None
    return Book(database, desk, desk.knowledge)


class Keeper:
    """Keeps one interview as a case of a book."""

    def __init__(self, book: Book | None, case: Case | None = None) -> None:
        self.book = book  # None: there is no place to keep anything
        self.case = case
        self.trouble: str | None = None
        self._kept: Case | None = None

    @property
    def number(self) -> str:
        """Return the number of the case, with a gap, or nothing where none is kept."""
        return self.case.shown_number if self.case else ""

    def keep(self, state: InterviewState) -> None:
        """Bring the case to what the answers say; where that fails, ``trouble`` says why."""
        wanted = contents_of(state.entries)
        if self.book is None or wanted is None or wanted == self._kept:
            return
        try:
            self.case = self._written(self.book, wanted)
        except (RequestError, CaseError, StoreUnavailableError) as error:
            self.trouble = str(error)
        else:
            self._kept, self.trouble = wanted, None

    def _written(self, book: Book, wanted: Case) -> Case:
        """Return the case with what is wanted: what is not in that is withdrawn first."""
        fields = {"on_hand": None, "skill": None, **wanted.settings, "machine": wanted.machine,
                  "machine_type": wanted.machine_type, "done": None}  # fmt: skip
        if self.case is None:
            self.case = book.open(fields, BY)
        case = book.get(self.case.number)
        gone, new = _differences(case, wanted)
        closed_as, cured = (one.outcome and one.outcome.cause for one in (case, wanted))
        if not case.is_open and (gone or new or closed_as != cured):
            case = book.reopen(case.number, "it goes on", BY)
        for place in gone:
            case = book.withdraw(case.number, place, BY, _BECAUSE)
        if case.is_open:
            cleared = dict.fromkeys(key for key in case.machine if key not in wanted.machine)
            del fields["done"]
            changes = {**fields, "machine": {**wanted.machine, **cleared}}
            case = book.change(case.number, changes, BY, None)
        if new:
            case = book.add_findings(case.number, new, BY)
        if case.is_open:
            case = book.change(case.number, {"done": _done(case, wanted)}, BY, None)
        if case.is_open and cured is not None:
            case = book.close(case.number, {"cause": cured}, BY, None)
        return case


def _done(case: Case, wanted: Case) -> list[Json] | None:
    """Return what was put right; what the case has already keeps its place."""
    known = [(one, bare(one)) for one in case.done]
    acts = map(bare, wanted.done)
    return [next((one for one, act in known if act == new), new) for new in acts] or None


def _differences(case: Case, wanted: Case) -> tuple[list[int], list[Json]]:
    """Return the places of findings that are no more, and the findings that are not there yet."""
    new, gone = [one.body for one in wanted.findings], []
    for one in case.counted:
        if one.body in new:
            new.remove(one.body)
        else:
            gone.append(one.place)
    return gone, new
