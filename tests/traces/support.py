"""A made pull as a file, for the doors that take recordings."""

import gzip
from functools import cache
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from tests.traces.test_findings import RATE, amperes, volts

HEADER = ("Time (s)", "Pull current (A)", "Pull volts (V)")


@cache
def text(separator: str = ";", decimal: str = ".", header: bool = True, moves: bool = True) -> str:
    """Return a pull of 30 A and 0.7 s as a text of time, current and volts."""
    rows = [
        separator.join([f"{n / RATE:.5f}", f"{i:.3f}", f"{u:.3f}"]).replace(".", decimal)
        for n, (i, u) in enumerate(zip(amperes(moves), volts(), strict=True))
    ]
    return "\n".join([separator.join(HEADER)] * header + rows) + "\n"


def write_csv(file: Path, written: str) -> Path:
    """Write a text into a file; one that ends in .gz is packed."""
    raw = written.encode()
    file.write_bytes(gzip.compress(raw) if file.suffix == ".gz" else raw)
    return file


def write_wav(file: Path) -> Path:
    """Write current and volts as a sound of 100 A and 20 V for full scale."""
    sound = np.stack([amperes() / 100, volts() / 20], axis=1)
    wavfile.write(file, int(RATE), (sound * 32767).astype(np.int16))
    return file
