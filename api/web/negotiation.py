"""What a caller may send and accept: media types and query parameters."""

from collections.abc import Callable, Iterable, Mapping, Sequence

from flask import request

from api.answers.problems import ProblemError
from api.strict_json import shorten
from engine.knowledge.faults import nearest, unknown

JSON = "application/json"


def require_json_body(kind: str = JSON) -> None:
    """Refuse a body that is not said to be plain ``kind`` in UTF-8. Raises ProblemError 415."""
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if request.mimetype != kind or charset not in ("utf-8", "utf8"):
        raise ProblemError(415, f"Send {kind} in UTF-8.", headers={"Accept-Post": kind})
    if request.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise ProblemError(
            415, "The body is compressed; send it plain.", headers={"Accept-Encoding": "identity"}
        )


def require_json_accepted(kind: str = JSON) -> None:
    """Refuse a caller who says that ``kind`` is not wanted. Raises ProblemError 406."""
    if request.accept_mimetypes and not request.accept_mimetypes[kind]:
        raise ProblemError(406, f"Answers are {kind}; accept it.")


def query(allowed: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return the query parameters, each at most once and with a value of its closed set.

    Raises ProblemError 422 that names every fault, with the nearest right word.
    """
    refuse(request.args, allowed, request.args.getlist)
    return dict(request.args.items())


def refuse(
    given: Iterable[str],
    allowed: Mapping[str, Sequence[str]],
    values: Callable[[str], Sequence[str]],
) -> None:
    """Raise ProblemError 422 for query parameters that are unknown, repeated or out of their set.

    ``given`` are their names and ``values`` gives what each was sent with.
    """
    faults = [
        (f"query.{shorten(name)}", message)
        for name in given
        for message in _faults_of(name, values(name), allowed)
    ]
    if faults:
        raise ProblemError(422, "The query does not fit.", errors=faults)


def _faults_of(name: str, values: Sequence[str], allowed: Mapping[str, Sequence[str]]) -> list[str]:
    """Return what is wrong with one query parameter."""
    if name not in allowed:
        known = f"; known here: {', '.join(allowed)}" if allowed else "; none is taken here"
        return [f"unknown query parameter{nearest(name[:100], allowed)}{known}"]
    if len(values) > 1:
        return ["given more than once; give it once"]
    if values[0] not in allowed[name]:
        known = ", ".join(allowed[name])
        return [f"{unknown(name, values[0], allowed[name])}; one of {known}"]
    return []
