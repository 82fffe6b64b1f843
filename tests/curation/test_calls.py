"""``kb cases --calls``: how near the answers come to what a master technician would sign."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from api.curation.calls import MEASURES, CallCase, Tallied, mark
from engine.knowledge.text import load_yaml

Run = Callable[..., Result]
CALLS = Path(__file__).parents[1] / "cases" / "calls"
CALL = CallCase(
    id="roller-will-not-start", group="plain", story="Roller 7 cranks and does not start.",
    request={}, guess="battery-weak", truth=("ground-open",), accept=("ground-open",),
    next=("ground-jumper",), never=("timer-dead", "bench-pull"), confidence=0.8, because="So.",
)  # fmt: skip
FILE = """
id: {id}
group: {group}
story: The hold wire was cut at the guard.
request:
  machine: {{duty: fuel-shutoff, control: ignition-timed, coil: case-ground}}
  findings:
    - {{check: plunger-action, outcome: pulls-then-drops}}
    - {{check: hold-pin-voltage, value: 0, unit: V}}
guess: hold-winding-open
truth: [hold-wire-open]
accept: {accept}
next: [repair, connector-look, connector-wiggle, hold-pin-voltage-unplugged, hand-over]
never: {never}
confidence: 0.8
because: No volts at the hold pin while the key is on.
"""


def answer(
    *causes: tuple[str, float], checks: tuple[str, ...] = (), do: str = "check",
    order: tuple[str, ...] = (),
) -> dict[str, Any]:  # fmt: skip
    """Return so much of an answer as is held against a call."""
    return {
        "causes": [{"id": name, "probability": chance} for name, chance in causes],
        "next_checks": [{"check": name} for name in checks],
        "advice": {"do": do, "repair_order": list(order)},
    }


@pytest.mark.parametrize(
    ("given", "holds"),
    [
        (answer(("ground-open", 0.9), checks=("look", "try", "ground-jumper")),
         {"leader_accepted", "first_three", "next_as_master"}),
        (answer(("x", 0.5), ("y", 0.2), ("ground-open", 0.1)), {"first_three"}),
        (answer(("x", 0.5), ("y", 0.2), ("z", 0.2), ("ground-open", 0.1)), set()),
        (answer(("x", 0.6), checks=("a", "b", "c", "ground-jumper")), set()),
        (answer(("x", 0.61)), {"confidently_wrong"}),
        (answer(("timer-dead", 0.5)), set()),
        (answer(("timer-dead", 0.51)), {"never_said"}),
        (answer(("x", 0.2), checks=("a", "b", "c", "bench-pull")), {"never_said"}),
        (answer(("x", 0.2), do="repair", order=("timer-dead", "y")), {"never_said"}),
        (answer(("x", 0.2), do="repair", order=("y", "timer-dead")), set()),
    ],
)  # fmt: skip
def test_marks(given: Mapping[str, Any], holds: set[str]) -> None:
    """Each measure holds where what it is defined by is in the answer, and not a hair before."""
    marked = mark(CALL, given)
    assert {name for name in MEASURES if getattr(marked, name)} == holds


@pytest.mark.parametrize("course", ["repair", "hand-over"])
def test_a_course_is_held_against_the_advice(course: str) -> None:
    """Where the master repairs, or hands over, the answer advises it; and it may be forbidden."""
    given = answer(("x", 0.2), do=course, order=("x",))
    assert mark(replace(CALL, next=(course,)), given).next_as_master
    assert not mark(CALL, given).next_as_master
    assert mark(replace(CALL, never=(course,)), given).never_said


def test_true_cause_counts_as_found() -> None:
    """One of two true causes among the first three counts, though no master would sign it."""
    two = replace(CALL, truth=("ground-open", "battery-weak"), accept=("outside",))
    assert mark(two, answer(("battery-weak", 0.9))).first_three


def test_tallies_count_by_group_and_over_all() -> None:
    """Shares are over the calls of the group; the last line is over all of them."""
    good = mark(CALL, answer(("ground-open", 0.9)))
    bad = mark(replace(CALL, group="noisy"), answer(("x", 0.9)))
    found = Tallied((good, bad, bad))
    assert [(name, held["calls"]) for name, held in found.counts.items()] == [
        ("noisy", 2), ("plain", 1), ("all", 3),
    ]  # fmt: skip
    assert found.counts["all"]["leader_accepted"] == 1
    groups = {one["group"]: one for one in found.as_dict()["groups"]}
    assert groups["all"]["confidently_wrong"] == {"count": 2, "share": pytest.approx(2 / 3, 1e-4)}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two calls, one of them with an answer that a master would never give."""
    for name, group, accept, never in (
        ("first", "plain", "[hold-wire-open, hold-output-dead, timer-dead]", "[battery-weak]"),
        ("second", "phone", "[outside]", "[hold-wire-open, repair, check]"),
    ):
        text = FILE.format(id=name, group=group, accept=accept, never=never)
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    return tmp_path


def test_table_and_json_say_the_same(run: Run, folder: Path) -> None:
    """The table has a row a group; --json has the same counts and every call."""
    done = run("kb", "cases", "--calls", folder)
    assert done.exit_code == 0, done.output
    rows = [line.split() for line in done.stdout.splitlines()]
    assert [row[:2] for row in rows[1:]] == [["phone", "1"], ["plain", "1"], ["all", "2"]]
    told = json.loads(run("kb", "cases", "--calls", folder, "--json").stdout)
    by_group = {one["group"]: one for one in told["groups"]}
    assert by_group["plain"]["leader_accepted"] == {"count": 1, "share": 1.0}
    assert by_group["phone"]["never_said"]["count"] == 1
    assert by_group["all"]["first_three"] == {"count": 2, "share": 1.0}
    assert {one["call"] for one in told["calls"]} == {"first", "second"}
    assert {"leader", "probability", *MEASURES} <= set(told["calls"][0])


def test_calls_are_no_cases(run: Run, folder: Path) -> None:
    """A call fails nothing when worked cases and rule cases run over the same folder."""
    done = run("kb", "cases", "--cases", folder)
    assert (done.exit_code, done.stdout.splitlines()[0]) == (0, "0 cases, 0 faults.")


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        ("never:", "nver:", "first.yaml: nver: is not a field here (did you mean 'never'?)"),
        ("value: 0", "value: volts", "first.yaml: request: findings[1].value"),
        ("confidence: 0.8", "confidence: 80", "first.yaml: confidence: Must be"),
    ],
)
def test_bad_calls_are_told(run: Run, folder: Path, was: str, now: str, says: str) -> None:
    """A call that cannot be read or asked is told with its place, and the others are counted."""
    file = folder / "first.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace(was, now), encoding="utf-8")
    done = run("kb", "cases", "--calls", folder)
    assert done.exit_code == 1
    assert says in done.stderr
    assert "phone" in done.stdout


def test_bad_usage_of_calls(run: Run, tmp_path: Path) -> None:
    """--json without --calls, and a folder that is not there, are bad usage."""
    assert run("kb", "cases", "--json").exit_code == 2
    assert run("kb", "cases", "--calls", tmp_path / "nowhere").exit_code == 2


def _facts(half: str) -> dict[str, frozenset[tuple[Any, ...]]]:
    """Return what was found in each call of a half, by the call's name."""
    return {
        path.stem: frozenset(
            (one["check"], one.get("outcome"), one.get("value"), one.get("unit"))
            for one in load_yaml(path.read_text(encoding="utf-8"), path.name)["request"]["findings"]
        )
        for path in (CALLS / half).glob("*.yaml")
    }


def test_nothing_looked_at_while_working_is_held_out() -> None:
    """No open call has the very findings of a blind one, which nobody is to tune on; those that
    have are named without saying of which."""
    opened, held_out = _facts("open"), _facts("blind")
    assert min(len(opened), len(held_out)) > 50, "both folders are read"
    twins = [name for name, facts in opened.items() if facts in held_out.values()]
    assert twins == []
