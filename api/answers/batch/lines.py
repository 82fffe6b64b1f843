"""From bytes as they come to lines, and from a line to the text that answers it."""

from collections.abc import Callable, Iterator

from api import strict_json
from api.answers import answering, problems
from api.answers.answering import MAX_BYTES
from api.service import Engine
from api.strict_json import JsonObject

MEDIA_TYPE = "application/x-ndjson"
# A little over what is taken is kept of a long line, so that it is seen to be too long.
_KEPT = MAX_BYTES + 2


def split(read: Callable[[int], bytes], block: int) -> Iterator[bytes]:
    """Yield lines without their line end, however the bytes come; a last one needs no line feed.

    ``read`` returns at most so many bytes and none at the end. Of a line that is too long only the
    beginning is kept, so memory is bounded whatever is sent.
    """
    held = bytearray()
    while piece := read(block):
        *whole, rest = piece.split(b"\n")
        for part in whole:
            _hold(held, part)
            yield bytes(held).rstrip(b"\r")
            held.clear()
        _hold(held, rest)
    if held:
        yield bytes(held).rstrip(b"\r")


def _hold(held: bytearray, part: bytes) -> None:
    held += part[: max(0, _KEPT - len(held))]


def answer_line(
    engine: Engine, number: int, raw: bytes, failed: Callable[[Exception], None] | None = None
) -> tuple[bool, str]:
    """Return whether line ``number`` (from 1) was good, and its answer or problem as a line.

    One bad line does not end the others: not even one at which threewire itself fails, of which
    ``failed`` is told.
    """
    try:
        status, document = answering.answer(engine, raw)
    except Exception as error:
        if failed:
            failed(error)
        status, document = 500, problems.document(500)
    return status == 200, strict_json.dumps(document if status == 200 else at(number, document))


def at(number: int, document: JsonObject) -> JsonObject:
    """Return a problem document that names its line, counted from 1."""
    return document | {"line": number}
