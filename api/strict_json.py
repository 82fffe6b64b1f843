"""JSON in and out, stricter than the standard library: nothing is guessed, dropped or blown up.

RFC 8259 leaves open what a reader does with duplicate keys, lone surrogates and numbers beyond its
range. Here each of them is refused, because a reading that a person typed must not change in
silence on its way to the engine.
"""

import json
import math
import re
from collections.abc import Mapping
from functools import partial
from typing import Any, NoReturn

Json = Mapping[str, Any]  # an object of a request or an answer, as the wire has it
JsonObject = dict[str, Any]  # one that is made here
MAX_DEPTH = 20
MAX_KEYS = 1000  # in one object: far more than any request has
MAX_NUMBER_LENGTH = 40
_SURROGATE = re.compile("[\ud800-\udfff]")


class JsonError(ValueError):
    """Text that is not taken as JSON; the message says what is wrong, and where that is known."""


def loads(raw: bytes) -> object:
    """Read one JSON text in UTF-8. Raises JsonError."""
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise JsonError(f"the text is not UTF-8 at byte {error.start + 1}") from None
    if text.startswith("\ufeff"):
        raise JsonError("the text starts with a byte order mark; send UTF-8 without it")
    if not text.strip(" \t\r\n"):
        raise JsonError("there is nothing here; a JSON object was expected")
    try:
        value: object = _DECODER.decode(text)
    except json.JSONDecodeError as error:
        why = error.msg[:1].lower() + error.msg[1:]
        where = f"line {error.lineno}, column {error.colno}"
        raise JsonError(f"{where}: not valid JSON: {why}") from None
    except RecursionError:
        raise JsonError(_TOO_DEEP) from None
    _refuse_inside(value, MAX_DEPTH)
    return value


def dumps(value: object) -> str:
    """Write one JSON text on one line, keys in the order given, ended by a line feed.

    Every door uses this one function, so the same answer is the same bytes. Raises ValueError for
    NaN and infinities.
    """
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"


def _refuse_inside(value: object, depth: int) -> None:
    """Refuse what is nested deeper, and half of a surrogate pair: no UTF-8 can be written of it."""
    if isinstance(value, str):
        if _SURROGATE.search(value):
            raise JsonError("half of a surrogate pair in a text")
    elif isinstance(value, dict | list):
        if not depth:
            raise JsonError(_TOO_DEEP)
        for one in value:
            _refuse_inside(one, depth - 1)
        if isinstance(value, dict):
            for one in value.values():
                _refuse_inside(one, depth - 1)


_TOO_DEEP = f"nested more than {MAX_DEPTH} deep"


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Build an object, refusing a key that stands twice (the library keeps the last)."""
    if len(pairs) > MAX_KEYS:
        raise JsonError(f"an object with more than {MAX_KEYS} keys")
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise JsonError(f"the key {shorten(key)!a} stands twice in one object")
        found[key] = value
    return found


def _constant(name: str) -> NoReturn:
    raise JsonError(f"{name} is not a JSON number")


def _number(kind: type[int] | type[float], token: str) -> float:
    if len(token) > MAX_NUMBER_LENGTH:
        raise JsonError(f"a number of more than {MAX_NUMBER_LENGTH} characters")
    value = kind(token)
    if not math.isfinite(value):
        raise JsonError(f"the number {token} is too large")
    return value


def shorten(text: str, longest: int = 60) -> str:
    """Return ``text``, cut with three dots when it is longer than ``longest`` characters."""
    return text if len(text) <= longest else text[: longest - 3] + "..."


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object, parse_constant=_constant,
    parse_int=partial(_number, int), parse_float=partial(_number, float),
)  # fmt: skip
