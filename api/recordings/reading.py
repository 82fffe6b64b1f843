"""From the bytes of a CSV or WAV file to a trace: in blocks, bounded, each fault placed."""

import io
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
import scipy  # its parts are loaded when first used

from engine.traces.trace import (
    LEAST_SAMPLES,
    MOST_SAMPLES,
    ROLES,
    SKIPPED,
    TIME,
    ChannelSetup,
    Floats,
    Samples,
    Trace,
    TraceError,
    channels_from,
    refused,
)  # fmt: skip

BLOCK = 1024 * 1024
MOST_BYTES = 1024 * 1024 * 1024  # of text, unpacked
MOST_WAV_BYTES = 192 * 1024 * 1024
_LONGEST_LINE = 4096
_HEADER_LINES = 60
_COMMA = str.maketrans(",", ".")
_FORMS = [(sep, mark) for sep in (";", "\t", "|", ",", None) for mark in ".," if sep != mark]


@dataclass(frozen=True)
class Form:
    """How the rows of a text are written: separator (None is white space) and decimal mark."""

    separator: str | None
    decimal: str
    columns: int = 0
    header: Sequence[str] = ()
    header_rows: int = 0

    def cells(self, line: str) -> list[str]:
        """Return the cells of a row, ready for float()."""
        whole = line.strip().rstrip(self.separator) if self.separator else line.strip()
        cells = [cell.strip().strip('"') for cell in whole.split(self.separator)]
        return [cell.translate(_COMMA) for cell in cells] if self.decimal == "," else cells

    def fits(self, line: str) -> bool:
        """Return whether a row is all numbers, one a column."""
        try:
            return len([float(cell) for cell in self.cells(line)]) == self.columns
        except ValueError:
            return False


def read_csv(
    stream: BinaryIO, channels: Sequence[ChannelSetup] = (), rate: float | None = None
) -> Trace:
    """Read a text of numbers, one row a moment. Raises TraceError with row and column.

    ``channels`` are its columns in their order; without them the header must name them. ``rate`` in
    samples a second stands in for a column of time. At most 12 million rows are read.
    """
    first = stream.read(BLOCK)
    form = _form(_text(first, 1))
    setups = channels or channels_from([_role(name) for name in form.header])
    if len(setups) != form.columns:
        raise refused(
            f"row {form.header_rows + 1}",
            f"{form.columns} columns, but {len(setups)} are named; name each in its order, '-' for "
            "one that is not used. A decimal comma needs another separator, such as ;",
        )
    clock = _Clock(rate, next(((n, one) for n, one in enumerate(setups) if one.role == TIME), None))
    kept = {one.role: (n, one) for n, one in enumerate(setups) if one.role in ROLES}
    blocks: dict[str, list[Samples]] = {role: [] for role in kept}
    rows = 0
    for row, lines in _lines(first, stream, form.header_rows):
        table = _table(lines, form, row)
        rows += len(table)
        clock.add(table, row)
        for role, (n, one) in kept.items():
            blocks[role].append(_scaled(table[:, n], one))
    if rows < LEAST_SAMPLES:
        raise refused("", f"{rows} rows of numbers; at least {LEAST_SAMPLES} are needed")
    joined = {role: np.concatenate(found) for role, found in blocks.items()}
    named = {role: one for role, (_, one) in kept.items()}
    return Trace(clock.step, joined, named, clock.start, tuple(clock.gaps))


def _scaled(values: Floats, setup: ChannelSetup) -> Samples:
    return (values * setup.gain + setup.offset).astype(np.float32)


def _role(name: str) -> str:
    """Return the role that a heading such as ``Pull current (A)`` names."""
    plain = name.lower().partition("(")[0].partition("[")[0].strip().strip('"')
    return "-".join(plain.replace("_", " ").split()) or SKIPPED


def _text(raw: bytes, row: int) -> str:
    if not raw:
        raise refused("", "the file is empty")
    picture = raw[:4] in (b"\x89PNG", b"\xff\xd8\xff\xe0", b"GIF8", b"PK\x03\x04")
    hole = 0 if picture else raw.find(b"\0")
    if hole >= 0:
        row += raw.count(b"\n", 0, hole)
        raise refused(f"row {row}", "this is no text; save the recording as CSV or WAV")
    return raw.decode("utf-8-sig", errors="replace")


def _form(text: str) -> Form:
    """Find separator, decimal mark and header by the first rows that are all numbers."""
    lines = text.splitlines()[:_HEADER_LINES]
    for start, line in enumerate(lines):
        for separator, decimal in _FORMS:
            columns = len(Form(separator, decimal).cells(line))
            header = lines[start - 1].split(separator) if start else []
            form = Form(separator, decimal, columns, header, start)
            several = columns > 1 or separator is None
            if several and all(map(form.fits, lines[start : start + 5])):
                return form
    raise refused(
        "row 1", f"no row of numbers in the first {len(lines)}; write rows such as 0.001;11.9"
    )


def _lines(first: bytes, stream: BinaryIO, skip: int) -> Iterator[tuple[int, list[str]]]:
    """Yield (number of its first row, rows) of each block, header left out."""
    row, raw = 1, first
    rest, read = b"", 0
    while raw or rest:
        read += len(raw)
        if read > MOST_BYTES or row > MOST_SAMPLES + _HEADER_LINES:
            raise refused(f"row {row}", f"more than {MOST_SAMPLES} rows or 1 GiB; record less")
        whole, cut, tail = (rest + raw).rpartition(b"\n") if raw else (rest, b"\n", b"")
        rest = tail
        if len(rest) > _LONGEST_LINE:
            raise refused(f"row {row}", "a row of more than 4096 characters is no recording")
        lines = _text(whole, row).splitlines() if whole else []
        drop = max(0, skip + 1 - row)
        if lines[drop:]:
            yield row + drop, lines[drop:]
        row += len(lines)
        raw = stream.read(BLOCK) if cut or raw else b""


def _table(lines: list[str], form: Form, row: int) -> Floats:
    """Return the numbers of a block, shape (rows, columns). Raises TraceError with the place."""
    if not any(map(str.strip, lines)):
        return np.empty((0, form.columns))
    if form.decimal == ",":
        lines = [line.translate(_COMMA) for line in lines]
    ends = form.separator is not None and lines[0].rstrip().endswith(form.separator)
    used = range(form.columns) if ends else None
    try:
        table = np.loadtxt(
            lines, delimiter=form.separator, comments=None, ndmin=2, quotechar='"', usecols=used
        )
    except ValueError:
        raise _misfit(lines, form, row) from None
    if table.shape[1] != form.columns:
        raise _misfit(lines, form, row)
    bad = np.argwhere(~np.isfinite(table))
    if len(bad):
        at, column = (int(one) for one in bad[0])
        raise refused(
            f"row {row + at}, column {column + 1}",
            f"not a number ({len(bad)} such in this part); write 0.001 or leave the row out",
        )
    return table


def _misfit(lines: Sequence[str], form: Form, row: int) -> TraceError:
    """Return the exception that names the first cell that is no number."""
    for number, line in enumerate(lines, row):
        cells = form.cells(line) if line.strip() else [""] * form.columns
        if line.strip() and len(cells) != form.columns:
            return refused(f"row {number}", f"{len(cells)} cells; {form.columns} are needed")
        for column, cell in enumerate(cells, 1):
            try:
                float(cell or "0")
            except ValueError:
                shown = cell[:30]
                return refused(
                    f"row {number}, column {column}", f"'{shown}' is no number; write one as 0.001"
                )
            if not cell and line.strip():
                return refused(f"row {number}, column {column}", "empty; write a number")
    return refused(f"row {row}", "these rows do not all have the same columns")


class _Clock:
    """Checks that time runs evenly; keeps start, step and gaps, not the column."""

    def __init__(self, rate: float | None, column: tuple[int, ChannelSetup] | None) -> None:
        if column is None and rate is None:
            raise refused("channels", "no column of time: name one, or give the rate")
        if rate is not None and not 50 <= rate <= 1e6:
            raise refused("rate", "must be from 50 to 1000000 samples a second")
        self._rate, self._column, self._last = rate, column, np.nan
        self._begun, self.start, self.gaps = 0, 0.0, list[tuple[int, float]]()
        self._passed = 0.0

    def add(self, table: Floats, row: int) -> None:
        """Take a block's column of time. Raises TraceError where it steps back or changes rate."""
        if self._column is None or not len(table):
            return
        place, setup = self._column
        time = table[:, place] * setup.gain
        first = int(np.isnan(self._last))
        self.start = float(time[0]) if first else self.start
        steps = np.diff(time, prepend=time[:0] if first else self._last)
        if len(steps):
            usual = self._checked(steps, row + first)
            for at in np.flatnonzero(steps > 3.5 * usual):
                self.gaps.append((int(at) + self._begun + first, float(steps[at] - usual)))
            if len(self.gaps) > 1000:
                raise refused(f"row {row}", "more than 1000 gaps; the recorder did not keep up")
            self._passed = float(time[-1]) - self.start - sum(lost for _, lost in self.gaps)
        self._last, self._begun = float(time[-1]), self._begun + len(time)

    def _checked(self, steps: Floats, row: int) -> float:
        """Return the usual step of a block; the middle one of each hundred is held against it."""
        back = np.flatnonzero(steps <= 0)
        if len(back):
            way = "stands still" if steps[back[0]] == 0 else "steps back"
            raise refused(
                f"row {row + int(back[0])}", f"time {way}; save it with more digits, or leave the "
                "column out and give the rate",
            )  # fmt: skip
        usual = float(np.median(steps))
        before = self._passed / max(self._begun - 1, 1) if self._begun > LEAST_SAMPLES else usual
        pieces = len(steps) // 100
        middle = np.median(steps[: pieces * 100].reshape(pieces, 100), axis=1)
        other = np.flatnonzero(np.abs(middle / before - 1) > 0.1)
        if len(other):
            at = int(other[0])
            raise refused(
                f"row {row + at * 100}", f"the rate changes, from {1 / before:.4g} to "
                f"{1 / middle[at]:.4g} a second; save each part as a file of its own",
            )  # fmt: skip
        return usual

    @property
    def step(self) -> float:
        """Return the seconds between samples."""
        step = 1 / self._rate if self._rate else self._passed / (self._begun - 1)
        if not 0.9e-6 <= step <= 0.021:
            raise refused(
                "",
                f"{1 / step:.4g} samples a second; 50 to 1000000 are read. A column of time in "
                "milliseconds is time*0.001",
            )
        return step


def read_wav(stream: BinaryIO, channels: Sequence[ChannelSetup]) -> Trace:
    """Read a sound file; a gain is in units for full scale. Raises TraceError."""
    raw = stream.read(MOST_WAV_BYTES + 1)
    if len(raw) > MOST_WAV_BYTES:
        raise refused("", "more than 192 MiB of sound; record less, or slower")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", scipy.io.wavfile.WavFileWarning)
            rate, sound = scipy.io.wavfile.read(io.BytesIO(raw))
    except Exception as error:  # a broken header ends in any of a dozen
        raise refused("", "this is no WAV file that can be read; save it as 16 bit PCM") from error
    sound = sound.reshape(len(sound), -1)
    if sound.shape[1] != len(channels):
        raise refused("channels", f"{sound.shape[1]} in the file, but {len(channels)} are named")
    if not LEAST_SAMPLES <= len(sound) <= MOST_SAMPLES or not 50 <= rate <= 1e6:
        raise refused("", f"{len(sound)} samples at {rate} a second are too few or too many")
    signed = float(np.iinfo(sound.dtype).max) if sound.dtype.kind == "i" else 1.0
    zero, full = (128.0, 127.0) if sound.dtype == np.uint8 else (0.0, signed)
    named = {one.role: one for one in channels if one.role in ROLES}
    kept = {
        one.role: _scaled((sound[:, n].astype(np.float32) - zero) / full, one)
        for n, one in enumerate(channels) if one.role in named
    }  # fmt: skip
    if not all(np.isfinite(values).all() for values in kept.values()):
        raise refused("", "samples that are no numbers")
    return Trace(1.0 / rate, kept, named)
