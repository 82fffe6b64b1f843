"""The life of one case as /openapi.json shows it: worked on the spot by the running engine.

Number and times are made up; everything else is what the service answers to these requests.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from api.cases import edits, numbers
from api.cases.case import Case
from api.cases.diagnosis import diagnose_case
from api.cases.edits import Edit
from api.cases.work_order import work_order
from api.service import Engine
from api.strict_json import Json
from api.web.components import declared
from engine import Knowledge

NUMBER = numbers.with_check("4829137")
BEGIN = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)


@dataclass(frozen=True)
class Example:
    """One request of the story and its answer; ``address`` is the path in the document."""

    method: str
    address: str
    name: str
    summary: str
    sent: Json | None
    answer: Json


def story(engine: Engine, knowledge: Knowledge) -> Iterator[Example]:
    """Give the requests of a case's life in their order, each with its answer."""
    sends: Mapping[str, Json] = declared()["case"]
    opened = edits.opened(_bare(sends["opening"]), NUMBER, "Dana", BEGIN)
    at = diagnose_case(engine, opened.case, opened.sent)
    asked, first = sends["opening"], at.to_dict()
    yield Example("post", "/v1/cases", "opening", "A call comes in", asked, first)
    for end, name, about in _STEPS:
        if end == "/close":
            answer, order = at.shown_diagnosis(), work_order(at, knowledge)
            yield Example(
                "get", f"{_CASE}/diagnosis", "diagnosis", "So far", None, answer.to_dict()
            )
            yield Example(
                "get", f"{_CASE}/work-order.json", "order", "To take along", None, order.to_dict()
            )
        done = _done(name, at, sends[name], knowledge)
        assert done is not None  # each step of the story changes something
        after = replace(done.case, version=at.version + 1, changed_at=_later(at))
        at = diagnose_case(engine, after, done.sent)
        method = "post" if end else "patch"
        yield Example(method, _CASE + end, name, about, sends[name], at.to_dict())


_CASE = "/v1/cases/{id}"
_STEPS = (
    ("/findings", "one", "A reading"),
    ("/findings", "several", "Several at once"),
    ("/findings/{place}/withdraw", "withdrawal", "A reading that was wrong"),
    ("", "changes", "Handed on, and the fuse told"),
    ("/close", "closing", "Confirmed and repaired"),
    ("/reopen", "reopening", "It came back"),
)


def _bare(sent: Json) -> Json:
    return {name: value for name, value in sent.items() if name != "by"}


def _later(at: Case) -> datetime:
    return at.changed_at + timedelta(minutes=10)


def _done(name: str, at: Case, sent: Json, knowledge: Knowledge) -> Edit | None:
    """Return what a request of the story does to the case."""
    by, bare, when = sent["by"], _bare(sent), _later(at)
    if name == "withdrawal":
        return edits.withdrawn(at, 2, by, bare["because"], when)
    if name == "changes":
        return edits.changed(at, bare)
    if name == "closing":
        return edits.closed(at, bare, knowledge, by, when)
    if name == "reopening":
        return edits.reopened(at, bare["because"])
    return edits.findings_added(at, bare.get("findings", [bare]), by, when)
