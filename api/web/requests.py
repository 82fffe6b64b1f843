"""What every request is held to: its query, the media types it sends and accepts, its JSON body."""

from typing import Any

from flask import request
from marshmallow import ValidationError, fields, validate

from api import strict_json
from api.answers.answering import MAX_BYTES
from api.answers.problems import ProblemError
from api.strict_json import shorten
from engine.knowledge.faults import nearest
from engine.knowledge.shapes import OneOf, StrictSchema, flatten
from engine.reasoning.request import says

JSON = "application/json"


class QuerySchema(StrictSchema):
    """Base of what may stand behind the question mark; itself it takes nothing."""

    def handle_error(self, error: ValidationError, data: Any, **_: Any) -> None:
        """Put the nearest parameter, and all there are, behind the name of an unknown one."""
        names = self.parameters()
        known = f"; known here: {', '.join(names)}" if names else "; none is taken here"
        messages = error.messages_dict
        for name in list(messages):
            if name not in names:
                near = nearest(str(name)[:100], names)
                messages[shorten(str(name))] = [f"unknown query parameter{near}{known}"]

    def parameters(self) -> list[str]:
        """Return the names as they stand behind the question mark."""
        return [one.data_key or name for name, one in self.fields.items()]


class WordChoice(OneOf):
    """A closed set of words; the message lists them behind the nearest."""

    def __call__(self, value: Any) -> Any:
        """Return the value; raises ValidationError for one that is not in the set."""
        try:
            return super().__call__(value)
        except ValidationError as error:
            known = ", ".join(self.known)
            raise ValidationError(f"{error.messages[0]}; one of {known}") from None


def choice(kind: str, known: tuple[str, ...], description: str) -> fields.String:
    """Return a query field for one word of a closed set."""
    return fields.String(validate=WordChoice(kind, known), metadata=says(description))


class Whole(fields.Integer):
    """A whole number of a query, in plain digits, within bounds; left out, it is the default."""

    def __init__(self, description: str, low: int, high: int, default: int) -> None:
        self._words = f"must be a whole number from {low} to {high}"
        within = validate.Range(min=low, max=high, error=self._words)
        super().__init__(load_default=default, validate=within, metadata=says(description))

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> int:
        if not (value.isascii() and value.isdecimal() and len(value) < 10):
            raise ValidationError(self._words)
        return int(value)


def query(schema: type[QuerySchema]) -> dict[str, Any]:
    """Return the query as ``schema`` loads it. Raises ProblemError 422 that names every fault."""
    faults = {}
    try:
        asked: dict[str, Any] = schema().load(request.args.to_dict())
    except ValidationError as error:
        faults = {fault.path: fault.message for fault in flatten(error.messages)}
    faults |= {
        name: "given more than once; give it once"
        for name in schema().parameters()
        if len(request.args.getlist(name)) > 1
    }
    if faults:
        raise bad_query(faults)
    return asked


def bad_query(faults: dict[str, str]) -> ProblemError:
    """Return the exception for parameters that do not fit: name, and what is wrong."""
    errors = [(f"query.{name}", message) for name, message in faults.items()]
    return ProblemError(422, "The query does not fit.", errors=errors)


def require_body(kind: str = JSON, *others: str) -> None:
    """Refuse a body that is not said to be plain ``kind`` in UTF-8, or another.

    Raises ProblemError 415.
    """
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    kinds = (kind, *others)
    if request.mimetype not in kinds or charset not in ("utf-8", "utf8"):
        headers = {"Accept-Post": ", ".join(kinds)}
        raise ProblemError(415, f"Send {' or '.join(kinds)} in UTF-8.", headers=headers)
    if request.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise ProblemError(
            415, "The body is compressed; send it plain.", headers={"Accept-Encoding": "identity"}
        )


def require_accepted(kind: str = JSON) -> None:
    """Refuse a caller who says that ``kind`` is not wanted. Raises ProblemError 406."""
    if request.accept_mimetypes and not request.accept_mimetypes[kind]:
        raise ProblemError(406, f"Answers are {kind}; accept it.")


def json_body() -> Any:
    """Return what the body says. Raises ProblemError 413, or 400 for what is not strict JSON."""
    raw = request.get_data()
    if len(raw) > MAX_BYTES:
        raise ProblemError(413)
    try:
        return strict_json.loads(raw)
    except strict_json.JsonError as fault:
        raise ProblemError(400, str(fault), [("", str(fault))]) from None
