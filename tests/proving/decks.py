"""Runs ngspice on a resistor network with ideal sources, and reads node voltages back.

ngspice ends with status 0 on a bad deck, so the text it prints is what counts.
"""

import os
import re
import shutil
import subprocess
from collections.abc import Iterable

import pytest

from tests.proving.network import GROUND, Resistor, Source

_VALUE = re.compile(r"^v\((\S+)\) = (\S+)\s*$", re.MULTILINE)
_COMPLAINT = re.compile(r"warning|singular|error", re.IGNORECASE)


def spice(resistors: Iterable[Resistor], sources: Iterable[Source]) -> dict[str, float]:
    """Return node voltages in volts above battery negative; skips the test without ngspice."""
    program = shutil.which("ngspice")
    if program is None:
        if os.environ.get("TESTS_REQUIRE_NGSPICE", "") not in ("", "0"):
            pytest.fail("TESTS_REQUIRE_NGSPICE is set and ngspice is not installed")
        pytest.skip("ngspice is not installed (Debian package ngspice)")
    parts, feeds = list(resistors), list(sources)
    nodes = {n for r in parts for n in (r.start, r.end)} | {n for s in feeds for n in
                                                            (s.minus, s.plus)}  # fmt: skip
    short = {name: f"n{number}" for number, name in enumerate(sorted(nodes - {GROUND}))}
    short[GROUND] = "0"
    lines = ["* a machine", ".options gmin=1e-15 rshunt=1e12 reltol=1e-9"]
    lines += [f"R{n} {short[r.start]} {short[r.end]} {r.ohms:.12g}" for n, r in enumerate(parts)]
    lines += [f"V{n} {short[s.plus]} {short[s.minus]} {s.volts:.12g}" for n, s in enumerate(feeds)]
    lines += [".control", "set numdgt=12", "op"]
    lines += [f"print v({name})" for name in short.values() if name != "0"]
    lines += ["quit 0", ".endc", ".end"]
    done = subprocess.run(
        [program, "-b"], input="\n".join(lines), capture_output=True, text=True, check=False
    )
    text = done.stdout + done.stderr
    found = {name: float(value) for name, value in _VALUE.findall(text)}
    assert not _COMPLAINT.search(text), text[-2000:]
    assert len(found) == len(short) - 1, text[-2000:]
    return {name: found.get(node, 0.0) for name, node in short.items()}
