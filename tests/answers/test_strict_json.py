"""The JSON reader takes what RFC 8259 allows and refuses what it leaves to chance."""

import json
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api import strict_json
from api.strict_json import JsonError

JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**63)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=12,
)


@settings(derandomize=True)
@given(JSON_VALUES)
def test_reads_back_what_it_wrote(value: object) -> None:
    """Every JSON value survives writing and reading unchanged, or was nested too deep to send."""
    written = strict_json.dumps(value).encode("utf-8")
    try:
        assert strict_json.loads(written) == value
    except JsonError as error:
        assert "nested" in str(error)  # noqa: PT017 - the one refusal that may come


@settings(derandomize=True)
@given(
    st.binary(max_size=60) | st.text(max_size=60).map(lambda text: text.encode("utf-8", "replace"))
)
def test_agrees_with_the_library_on_what_is_json(raw: bytes) -> None:
    """Whatever is taken here is what the standard library reads from the same bytes."""
    with suppress(JsonError):
        assert strict_json.loads(raw) == json.loads(raw)


# Texts named in RFC 8259: section 4 (names unique), 6 (no NaN, no infinity, no leading zero),
# 7 (control characters escaped), 8.1 (UTF-8, no byte order mark), 8.2 (lone surrogates).
REFUSED = [
    (b'{"a":1,\n "a":2}', "stands twice"),
    (b'{"a":1,\n "\\u0061":2}', "stands twice"),
    (b'[{"a":1},{"b":{"a":1},"a":2,"b":3}]', "stands twice"),
    (b'{"a": NaN}', "NaN is not a JSON number"),
    (b'{"a":\n  -Infinity}', "-Infinity is not a JSON number"),
    (b'{"a":1e999}', "too large"),
    (b"9" * 5000, "more than 40 characters"),
    (b"0." + b"3" * 5000, "more than 40 characters"),
    (b'{"a":01}', "line 1, column 7: not valid JSON"),
    (b'{"a":"\x01"}', "line 1, column 7: not valid JSON"),
    (b'{"a":1}{', "line 1, column 8: not valid JSON"),
    (b'{"a":1,}', "line 1, column 8: not valid JSON"),
    (b"{'a':1}", "line 1, column 2: not valid JSON"),
    (b'{"a":"\\q"}', "line 1, column 7: not valid JSON"),
    (b'\n{"a":"\xff"}', "not UTF-8"),
    (b"\xef\xbb\xbf{}", "byte order mark"),
    ('{"a":1}'.encode("utf-16-le"), "line 1, column 2: not valid JSON"),
    (b'{"a":"\\ud800"}', "surrogate"),
    (b'{"\\uDFFF":1}', "surrogate"),
    (b"", "nothing here"),
    (b" \n ", "nothing here"),
    (b"[" * 21 + b"]" * 21, "nested more than 20 deep"),
    (b'{"a":' * 100_000, "nested more than 20 deep"),
]


@pytest.mark.parametrize(("raw", "says"), REFUSED)
def test_refuses_and_says_why(raw: bytes, says: str) -> None:
    """What RFC 8259 forbids or leaves to chance is refused; what is no JSON, at its place."""
    with pytest.raises(JsonError, match=says):
        strict_json.loads(raw)


def test_takes_pairs_of_surrogates() -> None:
    """RFC 8259 section 7 writes U+1D11E as a pair; a pair is a character like any other."""
    assert strict_json.loads(b'"\\uD834\\uDD1E"') == "\U0001d11e"


@pytest.mark.parametrize(
    "raw", [b'"\\' + b'\\"' * 50_000, b'"' * 100_000, b"[]," * 33_000, b'"a":' * 25_000]
)
def test_hostile_text_is_refused(raw: bytes) -> None:
    """A hundred kilobytes made to confuse the reader is refused like any other bad text."""
    with pytest.raises(JsonError):
        strict_json.loads(raw)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_never_writes_what_it_would_not_read(value: float) -> None:
    """NaN and infinities cannot be written by mistake."""
    with pytest.raises(ValueError, match="not JSON compliant"):
        strict_json.dumps({"a": value})


def test_writes_one_line_in_the_order_given() -> None:
    """An answer is one line of UTF-8 whose keys keep the contract's order."""
    assert strict_json.dumps({"b": "Ω", "a": [1, None]}) == '{"b":"Ω","a":[1,null]}\n'
