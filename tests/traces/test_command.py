"""``threewire trace``: every usual file is read alike, and what is wrong is told with its place."""

import gzip
import json
import os
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import Result

from api.cli import ask_book
from api.interview.desk import Desk
from engine.diagnosis import shipped
from tests.sweeps import ONLY_WHOLE, swept
from tests.traces.support import text, write_csv, write_wav
from tests.traces.test_findings import amperes, volts

Run = Callable[..., Result]
COLUMNS = "time,pull-current,pull-volts"


def read(run: Run, *arguments: str | Path) -> dict[str, Any]:
    """Return what the command prints as JSON."""
    done = run("trace", "--json", *arguments)
    assert done.exit_code == 0, done.output
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize(
    ("name", "written", "more"),
    swept([
        ("untimed.csv", lambda: text(header=False), ("--rate", "5000", "--channels",
                                                     COLUMNS.replace("time", "-"))),
        ("packed.csv.gz", text, ()),
        ("comma.csv", lambda: text(";", ","), ()),
    ], 2),
)  # fmt: skip
def test_every_usual_text_is_read_alike(
    run: Run, tmp_path: Path, name: str, written: Callable[[], str], more: tuple[str, ...]
) -> None:
    """Separator, decimal comma, header or none, packed or not: the same pull comes out."""
    found = read(run, write_csv(tmp_path / name, written()), *more)
    values = {one["check"]: one.get("value") for one in found["findings"]}
    assert values["pull-current"] == pytest.approx(30, rel=0.01)
    assert values["pull-pulse-seconds"] == pytest.approx(0.7, abs=0.001)
    assert found["channels"] == ["pull-current", "pull-volts"]
    assert found["rate_hertz"] == pytest.approx(5000, rel=1e-4)


def test_a_sound_file_is_read_with_its_scale(run: Run, tmp_path: Path) -> None:
    """What full scale stands for is given as the gain of each channel."""
    file = write_wav(tmp_path / "pull.wav")
    found = read(run, file, "--channels", "pull-current*100,pull-volts*20")
    values = {one["check"]: one.get("value") for one in found["findings"]}
    assert values["pull-current"] == pytest.approx(30, rel=0.01)
    assert values["pull-pin-voltage"] == pytest.approx(11, rel=0.01)


def test_the_report_has_its_cautions_before_it_asks_for_more(run: Run, tmp_path: Path) -> None:
    """Killers first: the brake and the crank are named before any word of recording again."""
    done = run("trace", write_csv(tmp_path / "pull.csv", text()))
    out = " ".join(done.stdout.lower().split())
    again = out.index("what it cannot tell")
    assert out.index("chocked") < out.index("energized")
    for words in ("engine turns", "brake is released", "chocks", "live", "energized", "manual"):
        assert 0 < out.index(words) < again, words


def test_the_plot_is_written(run: Run, tmp_path: Path) -> None:
    """One SVG with the recording, the fit and the marks, in words too."""
    picture = tmp_path / "pull.svg"
    done = run("trace", write_csv(tmp_path / "pull.csv", text()), "--plot", picture)
    assert done.exit_code == 0
    drawn = picture.read_text()
    for words in ("<svg", "recorded", "fitted", "seated", "pull ends"):
        assert words in drawn


def _rows(count: int, cell: str) -> str:
    return "".join(f"{n / 5000:.5f};{cell}\n" for n in range(count))


def _two_rates() -> str:
    slow = [f"{n / 1000:.5f};1" for n in range(500)]
    return "\n".join([*slow, *(f"{0.5 + n / 9000:.5f};1" for n in range(500))])


def _middle(words: str) -> str:
    lines = text(header=False).splitlines()
    return "\n".join([*lines[:3000], words, *lines[3001:]])


TWO = "time,pull-current"
BAD: dict[str, tuple[str, Callable[[], bytes], str, str]] = {
    "empty": ("x.csv", lambda: b"", TWO, "the file is empty"),
    "one column": ("x.csv", lambda: b"1.5\n" * 500, "pull-current", "no column of time"),
    "text in the middle": ("x.csv", lambda: _middle("0.6;oops;1").encode(), COLUMNS,
                           "row 3001, column 2: 'oops'"),
    "nothing but NaN": ("x.csv", lambda: _rows(100_000, "nan").encode(), TWO, "row 1, column 2"),
    "time that steps back": ("x.csv", lambda: _middle("0.1;1;1").encode(),
                             COLUMNS, "row 3001: time steps"),
    "two rates": ("x.csv", lambda: _two_rates().encode(), TWO, "the rate changes"),
    "a picture": ("x.csv", lambda: b"\x89PNG\r\n\x1a\n" + bytes(9000), TWO, "this is no text"),
    "a picture without zeros": ("x.csv", lambda: b"\xff\xd8\xff\xe0\n" * 900,
                                TWO, "this is no text"),
    "a picture packed": ("x.csv.gz", lambda: b"\x89PNG\r\n", TWO, "gzip"),
    "cut off": ("x.csv.gz", lambda: gzip.compress(text().encode())[:-4000],
                COLUMNS, "broken or cut off"),
    "zip bomb of zeros": ("x.csv.gz", lambda: gzip.compress(bytes(10_000_000), 1) * 30,
                          TWO, "this is no text"),
    "zip bomb of one row": ("x.csv.gz", lambda: gzip.compress(b"1;1\n" * 1_000_000, 1) * 40, TWO,
                            "stands still"),
    "zip bomb of empty rows": ("x.csv.gz", lambda: gzip.compress(
        _rows(60, "1").encode()) + gzip.compress(b"\n" * 1_000_000) * 30,
                               TWO, "more than 12000000 rows"),
    "one endless row": ("x.csv.gz", lambda: gzip.compress(
        _rows(60, "1").encode() + b"1" * 30_000_000), TWO, "row of more than 4096"),
    "a sound that is none": ("x.wav", lambda: b"RIFF and so on", "pull-current*9", "no WAV file"),
    "a name misspelt": ("x.csv", lambda: text().encode(), "time,pul-current,-", "did you mean"),
}  # fmt: skip


BOMBS = ("zip bomb of one row", "zip bomb of empty rows")


@pytest.mark.parametrize("name", [name for name in BAD if name not in BOMBS])
def test_bad_files_are_told_with_their_place(run: Run, tmp_path: Path, name: str) -> None:
    """One line on standard error with file, row and column; status 1, nothing on the output."""
    file, raw, columns, words = BAD[name]
    (tmp_path / file).write_bytes(raw())
    done = run("trace", tmp_path / file, "--channels", columns)
    assert done.exit_code == 1, done.output
    assert words in done.stderr
    assert file in done.stderr
    assert done.stdout == ""


@ONLY_WHOLE
@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_does_not_fill_memory(run: Run, tmp_path: Path, name: str) -> None:
    """Of a hundred MB and more unpacked less than two hundred are ever held, most of it one block
    of a million rows; it is refused as other bad files are."""
    file, raw, columns, words = BAD[name]
    (tmp_path / file).write_bytes(raw())
    run("trace", "--help")
    tracemalloc.start()
    done = run("trace", tmp_path / file, "--channels", columns)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 200e6
    assert (done.exit_code, done.stdout) == (1, "")
    assert words in done.stderr


@pytest.mark.parametrize(
    ("name", "head", "words"),
    [("x.csv", text().encode(), "row 8002: this is no text"),
     ("x.wav", b"RIFF\xff\xff\xff\xffWAVEfmt ", "more than 192 MiB")],
)  # fmt: skip
def test_four_gigabytes_are_refused_within_bounds(
    run: Run, tmp_path: Path, name: str, head: bytes, words: str
) -> None:
    """A file that is 4 GiB, most of it a hole, is refused where the hole begins or at the bound,
    and no more than the bound of a sound file is ever held."""
    (tmp_path / name).write_bytes(head)
    os.truncate(tmp_path / name, 4 * 2**30)
    run("trace", "--help")
    tracemalloc.start()
    done = run("trace", tmp_path / name, "--channels", COLUMNS)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert done.exit_code == 1
    assert words in done.stderr
    assert most < 250e6


def test_findings_go_into_a_case_once_confirmed(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each is asked about; what is not confirmed is not in the case."""
    book_file = tmp_path / "cases.sqlite3"
    monkeypatch.setattr(ask_book, "default_file", lambda: book_file)
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    book = ask_book.open_book(book_file, Desk(shipped()))
    number = book.open({"machine": machine}, "t").number
    file = write_csv(tmp_path / "pull.csv", text())
    done = run("trace", file, "--case", number, stdin="y\nn\ny\nn\nn\n")
    assert done.exit_code == 0, done.output
    kept = [one.check for one in book.get(number).counted]
    assert kept == ["pull-current", "pull-pulse-seconds"]
    assert run("trace", file, "--case", "12345678", stdin="y\n").exit_code == 1


def test_a_hundred_thousand_samples_a_second_of_two_channels(run: Run, tmp_path: Path) -> None:
    """A fast recording is read in blocks as a slow one is: 160000 rows over several of them."""
    rate = 100_000.0
    table = np.stack([np.arange(160_000) / rate, amperes(rate=rate), volts(rate)], axis=1)
    np.savetxt(tmp_path / "fast.csv", table, fmt="%.6f", delimiter=",")
    found = read(run, tmp_path / "fast.csv", "--channels", COLUMNS)
    assert found["samples"] == 160_000
    figures = {one["id"]: one["value"] for one in found["figures"]}
    assert figures["seat_seconds"] == pytest.approx(0.08, abs=0.002)
