"""Files into traces: every usual way of writing one, and each fault with its place."""

import io

import numpy as np
import pytest
from scipy.io import wavfile

from api.recordings.reading import read_csv, read_wav
from engine.traces.trace import TraceError, channels_from

TWO = channels_from(["time", "pull-current"])


def rows(separator: str = ";", decimal: str = ".", count: int = 200, step: float = 0.001) -> str:
    """Return a text of time and current."""
    lines = [f"{n * step:.6f}{separator}{n / 10:.2f}" for n in range(count)]
    return "\n".join(lines).replace(".", decimal) + "\n"


def csv(text: str | bytes, channels: object = TWO, rate: float | None = None) -> object:
    """Read a text."""
    raw = text.encode() if isinstance(text, str) else text
    return read_csv(io.BytesIO(raw), channels, rate)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text",
    [rows(), rows(","), rows("\t"), rows(" "), rows("|"), rows(";", ","), rows("\t", ","),
     "made by hand\n\nt;i\n" + rows(), "\ufeff" + rows(), rows().replace("\n", "\r\n"),
     rows().rstrip("\n"), '"t";"i"\n' + rows(";", ",")],
)  # fmt: skip
def test_separator_decimal_mark_and_header_are_found(text: str) -> None:
    """The same numbers come out however they are written."""
    trace = csv(text)
    assert trace.step == pytest.approx(0.001)
    assert trace.channels["pull-current"] == pytest.approx(np.arange(200) / 10, abs=1e-5)


def test_a_header_names_the_columns() -> None:
    """Without channels the heading's words are the roles; what is none is left out by '-'."""
    trace = csv("Time (s);Pull current (A)\n" + rows(), ())
    assert list(trace.channels) == ["pull-current"]


def test_gain_offset_and_rate_are_kept_to() -> None:
    """A clamp of 100 A a volt with its zero at 0.5 A, a column alone, a rate in place of time."""
    text = "\n".join(f"{n / 100:.2f}" for n in range(100))
    trace = csv(text, channels_from(["pull-current*100-0.5@20000"]), 5000.0)
    assert trace.channels["pull-current"][1] == pytest.approx(0.5)
    assert trace.step == pytest.approx(0.0002)
    assert trace.setups["pull-current"].hertz == 20000


def test_a_hole_in_time_is_a_gap() -> None:
    """Missing rows are kept as a gap with its place and length, and the step stays."""
    lines = rows(count=300).splitlines()
    trace = csv("\n".join(lines[:100] + lines[150:]))
    assert trace.step == pytest.approx(0.001)
    assert trace.gaps == ((100, pytest.approx(0.05)),)
    assert trace.seconds(100) == pytest.approx(0.15)


SPOILED = rows().splitlines()


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("", "", "empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(500), "row 1", "no text"),
        (b"\0" * 9_000_000, "row 1", "no text"),
        ("only words\nand more\n", "row 1", "no row of numbers"),
        ("\n".join([*SPOILED[:60], "oops;1", *SPOILED[61:]]), "row 61, column 1", "'oops'"),
        ("\n".join([*SPOILED[:60], "0.06;", *SPOILED[61:]]), "row 61", "needed"),
        ("\n".join([*SPOILED[:60], "0.06;nan", *SPOILED[61:]]), "row 61, column 2", "not a number"),
        ("\n".join([*SPOILED[:60], "0.001;5", *SPOILED[61:]]), "row 61", "steps back"),
        ("\n".join([*SPOILED[:60], SPOILED[59], *SPOILED[61:]]), "row 61", "stands still"),
        ("\n".join([*SPOILED[:60], "1;2;3", *SPOILED[61:]]), "row 61", "3 cells"),
        (rows(count=20), "", "at least 50"),
        (rows(step=0.1), "", "samples a second"),
        (rows().replace(";", ";1;"), "row 1", "3 columns"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_its_place(text: str | bytes, place: str, words: str) -> None:
    """Row and column, and what to do."""
    with pytest.raises(TraceError) as caught:
        csv(text)
    assert caught.value.faults[0].path == place
    assert words in caught.value.faults[0].message


def test_two_rates_in_one_file_are_refused_at_the_row() -> None:
    """The rate doubles at row 401."""
    first = [f"{n * 0.001:.5f};1" for n in range(400)]
    second = [f"{0.4 + n * 0.0005:.5f};1" for n in range(400)]
    with pytest.raises(TraceError, match="rate changes") as caught:
        csv("\n".join(first + second))
    assert caught.value.faults[0].path in ("row 401", "row 402")


def test_the_nearest_role_is_named() -> None:
    """A slip in a channel's name, with its place."""
    with pytest.raises(TraceError, match=r"channels\[1\].*did you mean 'pull-current'"):
        channels_from(["time", "pul-current"])


def test_a_sound_file_is_read_in_units_for_full_scale() -> None:
    """Half of full scale at a gain of 80 is 40 A."""
    stream = io.BytesIO()
    wavfile.write(stream, 8000, np.full(400, 2**14, dtype=np.int16))
    stream.seek(0)
    trace = read_wav(stream, channels_from(["pull-current*80"]))
    assert trace.channels["pull-current"][0] == pytest.approx(40, rel=1e-3)
    assert trace.step == 1 / 8000


@pytest.mark.parametrize("raw", [b"", b"RIFF", b"RIFF\xff\xff\xff\xffWAVEfmt " + bytes(30)])
def test_a_broken_sound_file_is_refused(raw: bytes) -> None:
    """Whatever the header claims."""
    with pytest.raises(TraceError, match="WAV"):
        read_wav(io.BytesIO(raw), channels_from(["pull-current"]))
