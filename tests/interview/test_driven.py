"""Whole interviews in a real pseudo-terminal, answered from machines described by hand."""

import json
import signal
import sqlite3
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

Start = Callable[..., Any]
Dangers = Callable[[str, str], list[tuple[str, ...]]]

# A loader whose solenoid bracket was painted: it stands on the paint, there is no ground. What each
# check shows there follows from Ohm's law on a 12 V machine; typed by hand, not by the engine. The
# pull pin stays live after the pull: the hold feeds it through both windings, and nothing grounds.
# So the pull pin is live until the command is taken off, five seconds after it was given.
PAINTED = {
    "engine-response": "It turns over but does not start", "relay-click": "heard",
    "crank-speed": "normal", "plunger-action": "3", "coil-temperature": "cool",
    "interlock-lamp": "off", "failure-pattern": "always", "fuel-control": "solenoid",
    "recent-work": "solenoid-replaced", "plunger-timing": "never", "fuse-look": "intact",
    "connector-look": "clean", "plunger-travel": "bottoms", "plunger-by-hand": "free",
    "plunger-return": "springs-out", "hand-push-hold": "drops", "ground-jumper": "cures",
    "relay-swap": "no-change", "bench-pull": "pulls-and-holds", "lamp-at-pull-pin": "bright",
    "lamp-at-hold-pin": "bright", "added-wiring": "none", "fuel-at-injectors": "no-fuel",
    "fuel-lever-by-hand": "free", "fuse-after-replacement": "holds",
    "pull-current": "0.0 A", "hold-current": "0.0 A", "relay-87-voltage": "11.1 V",
    "relay-30-voltage": "11.1 V", "pull-pin-voltage": "11.1 V", "ground-side-voltage": "11.0 V",
    "pull-pin-voltage-after": "11.0 V", "hold-pin-voltage": "11.1 V", "fuse-drop-voltage": "0 mV",
    "battery-voltage-rest": "12.6 V", "battery-voltage-crank": "11.1 V",
    "pull-winding-ohms": "0.41 ohm, zeroed, to body", "hold-winding-ohms": "23.9 ohm, to body",
    "pull-to-hold-ohms": "24.3 ohm", "ground-path-ohms": "open", "pull-pulse-seconds": "5 s",
    "cable-drop-negative": "20 mV", "cable-drop-positive": "30 mV",
    "pull-pin-voltage-unplugged": "11.1 V", "hold-pin-voltage-unplugged": "11.1 V",
    "fuse-output-voltage": "12.6 V", "fuse-input-voltage": "12.6 V",
}  # fmt: skip

# A dumper with two brake locks: the left pull winding burned open, the right side in order.
LEFT_BURNED = {
    "brake-response": "1", "plunger-timing": "never", "brake-display": "shows-released",
    "relay-click": "heard", "interlock-lamp": "off", "parked-on-slope": "no",
    "plunger-action": "no-movement", "coil-temperature": "warm", "fuse-look": "intact",
    "connector-look": "clean", "hand-push-hold": "stays", "plunger-by-hand": "free",
    "plunger-travel": "bottoms", "plunger-return": "springs-out", "failure-pattern": "always",
    "recent-work": "none", "lamp-at-pull-pin": "bright", "relay-swap": "no-change",
    "ground-jumper": "no-change", "bench-pull": "no-movement", "added-wiring": "none",
    "pull-current": "0 A", "pull-pin-voltage": "13.6 V", "relay-87-voltage": "13.6 V",
    "relay-30-voltage": "13.7 V", "pull-pin-voltage-after": "0 V", "ground-side-voltage": "20 mV",
    "pull-winding-ohms": "open, to ground pin", "pull-to-hold-ohms": "open",
    "hold-winding-ohms": "24 ohm, to ground pin", "hold-current": "0.55 A",
    "pull-pulse-seconds": "0.8 s", "ground-path-ohms": "0.1 ohm, zeroed",
    "hold-pin-voltage": "13.6 V", "harness-pull-to-ground-ohms": "open",
    "pull-pin-voltage-unplugged": "13.7 V", "fuse-drop-voltage": "0 V",
}  # fmt: skip


def answer_all(run: Any, truth: Mapping[str, str], most: int = 40) -> str:
    """Answer every check from a machine until none is asked; return the last screen."""
    for _ in range(most):
        if not run.step:
            return str(run.text)
        run.say(truth.get(run.step, "d"))
    raise AssertionError(f"still asking after {most} answers: {run.text}")


def assert_cautions_first(run: Any, dangers: Dangers, duty: str) -> None:
    """Hold that each step shown had the words of each of its hazards on the screen before it."""
    assert run.steps
    for check, screen in run.steps:
        before = screen[: screen.index(f"{check})")]
        for sentences in dangers(check, duty):
            assert any(one in before for one in sentences), f"{check}: none of {sentences}"


def start(run: Any, *answers: str) -> None:
    """Answer the questions about the machine."""
    for one in answers:
        run.say(one)


def test_phone_only_call(console: Start, dangers: Dangers) -> None:
    """From 'cranks, no start' to a work order with nothing but questions and a caller."""
    run = console()
    start(run, "1", "4012 compact track loader", "1", "2", "2", "1", "1", "1")
    screen = answer_all(run, PAINTED)
    assert "What now?" in screen
    assert "With more at hand the next would be:" in " ".join(screen.split())
    assert_cautions_first(run, dangers, "fuel-shutoff")
    order = run.say("1")
    for part in ("WORK ORDER NOTE", "Machine: 4012 compact track loader",
                 "Complaint: It turns over but does not start", "Cause, not confirmed:",
                 "[ ] Check next", "Cautions:", "knowledge 20"):  # fmt: skip
        assert part in order
    run.child.sendline("quit")
    assert run.finish() == 0


def test_full_kit_call(console: Start, dangers: Dangers) -> None:
    """With the full kit the missing ground is found, repaired, proved and written down."""
    run = console("--as", "technician")
    start(run, "4012 compact track loader", "1", "2", "2", "1", "1", "7")
    run.say(PAINTED["engine-response"])
    run.say("add pull-current")
    screen = answer_all(run, PAINTED)
    assert "Put this right now: Solenoid ground open" in " ".join(screen.split())
    run.say("1")
    screen = answer_all(run, PAINTED)  # checks before a part is fitted, if any
    assert "Proof of repair:" in screen
    assert_cautions_first(run, dangers, "fuel-shutoff")
    order = " ".join(run.say("1").split())
    assert "Cause, confirmed by the repair: Solenoid ground open" in order
    assert "Pull current: 0 A" in order
    run.say("save order.txt")
    run.child.sendline("quit")
    assert run.finish() == 0


def test_two_brake_solenoids(console: Start, dangers: Dangers) -> None:
    """Each side of a machine with two brakes has its own findings, belief and conclusion."""
    run = console()
    start(run, "1", "19 site dumper", "2", "2", "1", "1", "2", "1", "7")
    screen = answer_all(run, LEFT_BURNED)
    assert "Pull winding open" in " ".join(screen.split())
    run.say("1")
    answer_all(run, LEFT_BURNED)
    order = " ".join(run.say("1").split())
    assert "Cause, confirmed by the repair: Pull winding open" in order
    assert "side right" in order
    screen = run.say("side right")
    assert run.step == "brake-response", "the right side begins with its own complaint"
    run.say("5")
    listed = " ".join(run.say("list").split())
    assert "What the brake does (left): It stays on: the machine does not move" in listed
    assert "What the brake does (right): It lets go and holds as it should" in listed
    order = " ".join(run.say("summary").split())
    assert "Complaint, right side: It lets go and holds" in order
    assert "Complaint, left side: It stays on: the machine does not move" in order
    assert_cautions_first(run, dangers, "brake-release")


def test_interrupted_and_resumed(console: Start, tmp_path: Path) -> None:
    """Ctrl-C, then a killed process, lose nothing: the case that is named holds every answer."""
    run = console()
    start(run, "1", "4012 compact track loader", "1", "2", "2", "1", "1", "7", "2")
    run.child.send("\x03")  # Ctrl-C
    message = run.to_prompt()
    assert run.finish() == 130
    number = message.partition("--resume ")[2].split()[0]

    run = console("--resume", number)
    assert "What the engine does: It turns over but does not start" in run.text
    run.say("add pull-current 0.1 A")
    run.process.kill()
    assert run.close() == -signal.SIGKILL
    with sqlite3.connect(book_of(tmp_path)) as book:
        checks = [json.loads(body)["check"] for (body,) in book.execute(FINDINGS)]
    assert checks == ["engine-response", "pull-current"]
    run = console()
    assert "Not finished yet: case" in run.text
    assert number in run.text


FINDINGS = "SELECT body FROM case_findings ORDER BY place"


def book_of(home: Path) -> Path:
    """Return the book of the user whose home folder this is."""
    return home / "data" / "threewire" / "ask" / "cases.sqlite3"


def test_closed_window(console: Start, tmp_path: Path) -> None:
    """A terminal that goes away leaves the answers in the book."""
    run = console()
    start(run, "2", "77 sweeper", "1")
    run.close()
    with sqlite3.connect(book_of(tmp_path)) as book:
        assert book.execute("SELECT machine_type FROM cases").fetchall() == [("77 sweeper",)]


@pytest.mark.parametrize(("rows", "columns"), [(12, 40), (24, 80)])
def test_fits_the_screen(console: Start, rows: int, columns: int) -> None:
    """No line is wider than the terminal, and none scrolls away before somebody typed Enter."""
    run = console("--as", "caller", rows=rows, columns=columns)
    seen = [run.text]
    answers = ("4012", "2", "0", "0", "0", "0", "7", "1", "d", "why", "what if", "causes",
                "list", "help", "cautions", "summary")  # fmt: skip
    seen += [run.say(one) for one in answers]
    wide = [line for text in seen for line in text.split("\n") if len(line) > columns]
    assert not wide
    assert "".join(seen).isascii()
    shown = [page.partition("\n")[2] for page in run.pages]  # behind the line that was typed
    assert max(page.count("\n") + len("\n>") for page in shown) <= rows


def test_a_caution_is_on_the_screen_with_its_step(console: Start) -> None:
    """On 24 rows the machine's warnings stand whole on a page, and a step's with the step where
    both fit."""
    run = console("--as", "technician")
    start(run, "4012 compact track loader", "2", "0", "0", "0", "1", "7")
    warnings, complaint = run.pages[-2:]
    assert "! CAUTION. Always on this machine" in warnings
    assert warnings.rstrip().split("\n")[-1].startswith("! - ")
    assert "What the brake does" in complaint
    run.say("1")
    for check in ("pull-pin-voltage", "plunger-action", "pull-current"):
        run.say(f"add {check}")
        first, _, step = run.pages[-1].partition(f"{check})")
        assert "! CAUTION" in first, check
        assert "don't know" in step, check
    run.say("add bench-pull")
    assert "! CAUTION" in run.pages[-2], "both do not fit: the caution waits for Enter"


def test_what_is_typed_where_a_page_ends_answers_what_follows(console: Start) -> None:
    """Lines that were typed or pasted ahead, past the end of a page, are taken in their order."""
    run = console("--as", "technician")
    run.child.send("4012\n2\n0\n0\n0\n1\n7\n1\nadd pull-current\n3.1 A\nlist\n")
    run.child.expect(r"What the brake does: It stays on")
    run.child.expect(r"Pull current: 3\.1 A")


def test_the_tabulator_key_completes(console: Start) -> None:
    """The beginning of a command is completed on a terminal."""
    run = console("--as", "technician")
    start(run, "4012", "2")
    run.child.send("summ\t\r")
    assert "WORK ORDER NOTE" in run.to_prompt()
