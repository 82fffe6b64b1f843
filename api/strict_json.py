"""JSON in and out, stricter than the standard library: nothing is guessed, dropped or blown up.

RFC 8259 leaves open what a reader does with duplicate keys, lone surrogates and numbers beyond its
range. Here each of them is refused, because a reading that a person typed must not change in
silence on its way to the engine.
"""

import json
import math
import re
from collections.abc import Iterator, Mapping
from typing import Any, NoReturn

Json = Mapping[str, Any]  # an object of a request or an answer, as the wire has it
JsonObject = dict[str, Any]  # one that is made here
MAX_DEPTH = 20
MAX_KEYS = 1000  # in one object: far more than any request has
MAX_NUMBER_LENGTH = 40

# Possessive quantifiers keep this linear on hostile text; an unterminated string runs to the end.
_TOKEN = re.compile(r'"(?:[^"\\]++|\\.)*+"?|[\[\]{},:]|[^\s\[\]{},:"]++', re.DOTALL)
_SURROGATE = re.compile("[\ud800-\udfff]")
_ESCAPED_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")


class JsonError(ValueError):
    """Text that is not taken as JSON; ``line`` and ``column`` count from 1."""

    def __init__(self, message: str, line: int, column: int) -> None:
        self.message = message
        self.line = line
        self.column = column
        super().__init__(f"line {line}, column {column}: {message}")


class _RefusedError(ValueError):
    """Raised inside the decoder's hooks, which do not know where they stand in the text."""

    def __init__(self, message: str, token: str) -> None:
        self.token = token
        super().__init__(message)


def loads(raw: bytes) -> object:
    """Read one JSON text in UTF-8. Raises JsonError naming line and column."""
    text = _decode(raw)
    _refuse_depth(text)
    _refuse_surrogates(text)
    try:
        value: object = _DECODER.decode(text)
    except json.JSONDecodeError as error:
        raise JsonError(_reworded(error), error.lineno, error.colno) from None
    except _RefusedError as error:
        _fail(text, _find(text, error.token), str(error))
    return value


def dumps(value: object) -> str:
    """Write one JSON text on one line, keys in the order given, ended by a line feed.

    Every door uses this one function, so the same answer is the same bytes. Raises ValueError for
    NaN and infinities.
    """
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"


def _decode(raw: bytes) -> str:
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        good = raw[: error.start].decode("utf-8")
        _fail(good, len(good), "the text is not UTF-8")
    if text.startswith("\ufeff"):
        raise JsonError("the text starts with a byte order mark; send UTF-8 without it", 1, 1)
    if not text.strip(" \t\r\n"):
        raise JsonError("there is nothing here; a JSON object was expected", 1, 1)
    return text


def _fail(text: str, position: int, message: str) -> NoReturn:
    """Raise JsonError at a character position of ``text``."""
    line = text.count("\n", 0, position) + 1
    column = position - text.rfind("\n", 0, position)
    raise JsonError(message, line, column)


def _tokens(text: str) -> Iterator[tuple[str, int]]:
    for match in _TOKEN.finditer(text):
        yield match.group(), match.start()


def _refuse_depth(text: str) -> None:
    """Refuse deep nesting before the decoder, which recurses, sees it."""
    depth = 0
    for token, start in _tokens(text):
        if token in ("[", "{"):
            depth += 1
            if depth > MAX_DEPTH:
                _fail(text, start, f"nested more than {MAX_DEPTH} deep")
        elif token in ("]", "}"):
            depth -= 1


def _refuse_surrogates(text: str) -> None:
    r"""Refuse half of a ``\ud800``-style pair: such text cannot be written out as UTF-8."""
    if not _ESCAPED_SURROGATE.search(text):
        return
    for token, start in _tokens(text):
        if token.startswith('"') and _SURROGATE.search(_plain(token)):
            _fail(text, start, "half of a surrogate pair in a text")


def _plain(token: str) -> str:
    """Return what a quoted token says, or nothing where the decoder will refuse it anyway."""
    try:
        return str(json.loads(token, strict=False))
    except json.JSONDecodeError:
        return ""


def _reworded(error: json.JSONDecodeError) -> str:
    """Return the decoder's complaint as the end of a sentence."""
    message = error.msg[:1].lower() + error.msg[1:]
    return f"not valid JSON: {message}"


def _find(text: str, token: str) -> int:
    """Return where the refused token stands; for a key, where it stands the second time."""
    if token.startswith('"'):
        return _find_duplicate(text)
    return next((start for found, start in _tokens(text) if found == token), text.find(token))


def _find_duplicate(text: str) -> int:
    """Return where the first key that stands twice in one object stands again."""
    open_objects: list[set[str] | None] = []
    before = ""
    for token, start in _tokens(text):
        if token in ("{", "["):
            open_objects.append(set() if token == "{" else None)  # noqa: S105 - a brace
        elif token in ("}", "]"):
            open_objects.pop()
        elif token.startswith('"') and before in ("{", ",") and open_objects:
            keys = open_objects[-1]
            if keys is not None:
                key = _plain(token)
                if key in keys:
                    return start
                keys.add(key)
        before = token
    return 0


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Build an object, refusing a key that stands twice (the library keeps the last)."""
    if len(pairs) > MAX_KEYS:
        raise _RefusedError(f"an object with more than {MAX_KEYS} keys", "{")
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise _RefusedError(f"the key '{shorten(key)}' stands twice in one object", '"')
        found[key] = value
    return found


def _constant(name: str) -> NoReturn:
    raise _RefusedError(f"{name} is not a JSON number", name)


def _integer(token: str) -> int:
    if len(token) > MAX_NUMBER_LENGTH:
        raise _RefusedError(f"a number of more than {MAX_NUMBER_LENGTH} characters", token)
    return int(token)


def _float(token: str) -> float:
    value = float(token)
    if not math.isfinite(value):
        raise _RefusedError("the number is too large", token)
    if len(token) > MAX_NUMBER_LENGTH:
        raise _RefusedError(f"a number of more than {MAX_NUMBER_LENGTH} characters", token)
    return value


def shorten(text: str, longest: int = 60) -> str:
    """Return ``text``, cut with three dots when it is longer than ``longest`` characters."""
    return text if len(text) <= longest else text[: longest - 3] + "..."


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object, parse_constant=_constant, parse_int=_integer, parse_float=_float
)
