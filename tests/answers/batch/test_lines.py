"""Bytes become the same lines however they come, and no line takes more memory than it may."""

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.answers.answering import MAX_BYTES
from api.answers.batch import split


@given(
    st.lists(st.binary(max_size=20).map(lambda one: one.replace(b"\n", b"").rstrip(b"\r"))),
    st.sampled_from([b"\n", b"\r\n"]), st.integers(1, 50), st.booleans(),
)  # fmt: skip
def test_lines_come_back(lines: list[bytes], end: bytes, block: int, ended: bool) -> None:
    """What was joined by line ends is split at them, whatever the size of the pieces; a last line
    needs no end."""
    text = end.join(lines) + (end if ended and lines else b"")
    expected = list(lines)
    if not ended and expected and not expected[-1]:
        expected.pop()  # nothing after the last line end is no line
    assert list(split(io.BytesIO(text).read, block)) == expected


@pytest.mark.parametrize("over", [0, 1, 2, 3, 5000])
def test_a_long_line_is_cut_where_it_is_seen_to_be_too_long(over: int) -> None:
    """A line up to the limit is whole; of a longer one two bytes more are kept, and the next line
    is not touched."""
    text = b"x" * (MAX_BYTES + over) + b"\nnext"
    found = list(split(io.BytesIO(text).read, 1024))
    assert [len(one) for one in found] == [MAX_BYTES + min(over, 2), 4]
