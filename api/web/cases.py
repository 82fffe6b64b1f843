"""``/v1/cases``: open a case, add what is found, read the diagnosis, close it."""

from typing import Any

from flask import Blueprint, Response

from api import strict_json
from api.access import role
from api.answers.problems import ProblemError
from api.cases import idempotency, lists
from api.cases.errors import StaleCase
from api.web import case_replies, negotiation
from api.web.case_operations import OPERATIONS
from api.web.case_replies import case_reply, once, send
from api.web.case_requests import body, book, expected, pop_author, query, whole
from engine import RequestError

__all__ = ["OPERATIONS", "blueprint"]

blueprint = Blueprint("cases", __name__)
case_replies.register(blueprint)
MOST_STEPS = 999_999_999


@blueprint.before_request
def _check_accept() -> None:
    negotiation.require_json_accepted()


@blueprint.post("/v1/cases")
@role("agent")
def open_case() -> Response:
    """Open a case."""
    query(())
    cases, sent = book(), body()
    by = pop_author(sent)
    return once(cases, lambda also: cases.open(sent, by, also), 201)


@blueprint.get("/v1/cases")
@role("read")
def list_cases() -> Response:
    """List cases, newest first."""
    found = query(("state", "fleet_number", "text", "cursor", "limit"))
    limit = whole(found, "limit", lists.DEFAULT, 1, lists.MOST)
    wanted: dict[str, Any] = {name: found[name] for name in found if name != "limit"}
    try:
        page = book().list(limit=limit, **wanted)
    except RequestError as error:
        errors = [(f"query.{fault.path}", fault.message) for fault in error.faults]
        raise ProblemError(422, "The query does not fit.", errors=errors) from None
    return _tagged(page.to_dict())


def _tagged(value: dict[str, Any], tag: str | None = None) -> Response:
    text = strict_json.dumps(value)
    found = tag or idempotency.fingerprint("", "", text.encode())[:32]
    return send(idempotency.Reply(200, {"ETag": case_replies.etag(found)}, text))


@blueprint.get("/v1/cases/<id_>")
@role("read")
def get_case(id_: str) -> Response:
    """Return one case."""
    query(())
    seen, found = expected(id_), book().get(id_)
    if seen not in (None, found.version):
        raise StaleCase(found, book().steps(id_, seen or 0))
    return send(case_reply(found))


@blueprint.patch("/v1/cases/<id_>")
@role("agent")
def change_case(id_: str) -> Response:
    """Merge changes into a case."""
    query(())
    cases, sent = book(), body()
    by, seen = pop_author(sent), expected(id_, required=True)
    return send(case_reply(cases.change(id_, sent, by, seen)))


@blueprint.post("/v1/cases/<id_>/findings")
@role("agent")
def add_findings(id_: str) -> Response:
    """Add one finding, or several in one step."""
    query(())
    cases, sent = book(), body()
    by, seen = pop_author(sent), expected(id_)
    several = "findings" in sent
    if several and len(sent) > 1:
        errors = [(strict_json.shorten(one), "unknown field") for one in sent if one != "findings"]
        raise ProblemError(422, "Beside 'findings' only 'by' is taken.", errors=errors)
    found = sent["findings"] if several else [sent]
    try:
        return once(cases, lambda also: cases.add_findings(id_, found, by, seen, also), 201)
    except RequestError as error:
        raise error if several else _of_one(error) from None


def _of_one(error: RequestError) -> RequestError:
    """Return the faults with paths into the one finding that was the whole body."""
    return RequestError(
        type(fault)(fault.path.removeprefix("findings[0]").removeprefix("."), fault.message)
        for fault in error.faults
    )


@blueprint.post("/v1/cases/<id_>/findings/<place>/withdraw")
@role("agent")
def withdraw_finding(id_: str, place: str) -> Response:
    """Withdraw one finding; it stays in the case and counts no more."""
    query(())
    cases, sent = book(), body()
    by, seen = pop_author(sent), expected(id_)
    because = _because(sent)
    if not (place.isascii() and place.isdecimal() and len(place) < 10):
        raise ProblemError(404, "A finding's place is a whole number: 1, 2, 3.")
    return once(
        cases, lambda also: cases.withdraw(id_, int(place), by, because, seen, also)
    )  # fmt: skip


def _because(sent: dict[str, Any]) -> Any:
    strange = [(strict_json.shorten(one), "unknown field") for one in sent if one != "because"]
    if strange:
        raise ProblemError(422, "Only 'because' and 'by' are taken.", errors=strange)
    return sent.get("because", "")


@blueprint.get("/v1/cases/<id_>/diagnosis")
@role("read")
def get_diagnosis(id_: str) -> Response:
    """Return the engine's whole answer on the case as it stands."""
    query(())
    found = book().diagnosis(id_)
    return _tagged(found, f"{found['version']}.{found.get('knowledge_version', '')}")


@blueprint.get("/v1/cases/<id_>/steps")
@role("read")
def get_steps(id_: str) -> Response:
    """Return what was done to the case, step by step."""
    since = whole(query(("since",)), "since", 0, 0, MOST_STEPS)
    return _tagged({"steps": [one.to_dict() for one in book().steps(id_, since)]})


@blueprint.post("/v1/cases/<id_>/close")
@role("agent")
def close_case(id_: str) -> Response:
    """Close a case with what it was."""
    query(())
    cases, sent = book(), body()
    by, seen = pop_author(sent), expected(id_, required=True)
    return once(cases, lambda also: cases.close(id_, sent, by, seen, also))


@blueprint.post("/v1/cases/<id_>/reopen")
@role("agent")
def reopen_case(id_: str) -> Response:
    """Open a closed case again."""
    query(())
    cases, sent = book(), body()
    by, seen = pop_author(sent), expected(id_)
    because = _because(sent)
    return once(cases, lambda also: cases.reopen(id_, because, by, seen, also))
