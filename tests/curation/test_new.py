"""``kb new``: starters that pass the checker once they are filled in."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from api.curation.starters import unfilled
from engine.knowledge.items import FAMILIES
from engine.knowledge.load import inspect
from tests import readme
from tests.sweeps import ONLY_WHOLE

Run = Callable[..., Result]
DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
CAUSE = [
    ("name: FILL IN", "name: Feed and ground both corroded"),
    ("section: FILL IN", "section: wiring"),
    ("share: FILL IN", "share: 1"),
    ("minutes: FILL IN", "minutes: 30"),
    ("- id: FILL-IN", "- id: both"),
    (
        "- {part: FILL-IN, add_ohms: {from: 0.1, to: 10}}",
        "- {part: ground, add_ohms: {from: 0.5, to: 2}}\n"
        "      - {part: fuse, add_ohms: {from: 0.5, to: 2}}",
    ),
    ("confirmed_by: [FILL-IN]", "confirmed_by: [ground-side-voltage, fuse-drop-voltage]"),
    ("hazards: [FILL-IN]", "hazards: [live, battery]"),
]
CHECK = [
    ("name: FILL IN", "name: Water in the engine bay"),
    ("kind: FILL IN", "kind: ask"),
    ("minutes: FILL IN", "minutes: 1"),
    ("FILL-IN-CAUSE", "ground-resistive"),
    ("FILL-IN-TOO", "dry"),
    ("hazards: [FILL-IN]", "hazards: []"),
    ('"FILL IN"', '"As it says"'),
    ("FILL-IN", "wet"),
]
READING = [
    ("name: FILL IN", "name: Voltage at the pull pin while running"),
    ("kind: FILL IN", "kind: meter"),
    ("minutes: FILL IN", "minutes: 6"),
    ("from: FILL-IN", "from: pull-pin"),
    ("phase: on-command", "phase: running"),
]
RULE = [
    ("title: FILL IN", "title: A click heard through a wall"),
    ("- {check: FILL-IN, outcome: FILL-IN}", "- {check: relay-click, outcome: heard}"),
    ("set_aside: FILL-IN", "set_aside: relay-click"),
]
CASE = [("- {check: FILL-IN, outcome: FILL-IN}", "- {check: relay-click, outcome: heard}")]


def fill(file: Path, replacements: list[tuple[str, str]]) -> None:
    """Fill a starter in, as a technician would: every mark, then the prose."""
    text = file.read_text(encoding="utf-8")
    for old, new in replacements:
        assert old in text, old
        text = text.replace(old, new)
    head, *lines = text.split("\n")
    body = "\n".join(line for line in [head, *lines] if not line.lstrip().startswith("#"))
    body = re.sub(r"FILL IN[^\n]*", "It is filled in.", body)
    assert "FILL" not in body
    file.write_text(body, encoding="utf-8")


@ONLY_WHOLE  # the whole audit, of a base with a new cause
def test_filled_starters_pass_the_checker(run: Run, tmp_path: Path) -> None:
    """A cause, a question, a reading and a rule from starters are without fault, and run; so does
    the rule that DEVELOPERS prints with its cases."""
    folder, cases = tmp_path / "shop", tmp_path / "cases"
    for arguments, path, replacements in (
        (("cause", "both-ends"), "causes/both-ends.yaml", CAUSE),
        (("check", "water-seen"), "checks/water-seen.yaml", CHECK),
        (("check", "pin-while-running", "--reading"), "checks/pin-while-running.yaml", READING),
        (("rule", "click-through-a-wall", "--cases", cases),
         "rules/traps/click-through-a-wall.yaml", RULE),
    ):  # fmt: skip
        done = run("kb", "new", *arguments, "--dir", folder)
        assert done.exit_code == 0, done.stderr
        assert str(folder / path) in done.stdout
        fill(folder / path, replacements)
    fill(cases / "click-through-a-wall.yaml", CASE)
    for path, word in ((folder / "rules/traps", "title: A plunger"), (cases, "rule: plunger")):
        text = readme.block(DEVELOPERS.read_text(encoding="utf-8"), "yaml", word)
        (path / "plunger-seen-through-smoke.yaml").write_text(text, encoding="utf-8")
    done = run("kb", "check", "--kb", folder)
    assert (done.exit_code, done.output) == (0, "")
    done = run("kb", "cases", "--kb", folder, "--cases", cases)
    assert done.exit_code == 0, done.output
    assert "4 cases, 0 faults." in done.output


def test_unfilled_rule_is_not_taken(run: Run, tmp_path: Path) -> None:
    """A starter that nobody filled in is a fault, in every family."""
    for family in FAMILIES:
        made = run("kb", "new", "rule", f"later-{family}", "--family", family, "--dir", tmp_path)
        assert made.exit_code == 0
    faults, knowledge = inspect([tmp_path])
    marked = unfilled(knowledge) if knowledge is not None else []
    paths = {fault.path.split(":")[0] for fault in [*faults, *marked]}
    assert paths == {f"{tmp_path.name}/rules/{one}/later-{one}.yaml" for one in FAMILIES}


def test_prose_left_unfilled_is_told(run: Run, tmp_path: Path) -> None:
    """Prose that still says FILL IN is told, though no other check would see it."""
    folder = tmp_path / "shop"
    run("kb", "new", "rule", "later", "--dir", folder)
    file = folder / "rules" / "traps" / "later.yaml"
    text = file.read_text(encoding="utf-8")
    for old, new in RULE[1:]:
        text = text.replace(old, new)
    file.write_text(text, encoding="utf-8")
    faults, knowledge = inspect([folder])
    assert knowledge is not None
    told = [str(fault) for fault in [*faults, *unfilled(knowledge)]]
    assert sorted(told) == [
        "shop/rules/traps/later.yaml: because: still says FILL IN",
        "shop/rules/traps/later.yaml: title: still says FILL IN",
    ]


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (("cause", "ground-open"), 1, "is there already, in kb/causes/ground-open.yaml"),
        (("rule", "relay-swap-cures"), 1, "is there already"),
        (("caus", "x"), 2, "'caus' is not one of 'cause'"),
        (("cause", "Ground_Open"), 2, "lower case"),
        (("rule", "x", "--family", "trap"), 2, "'trap' is not one of"),
    ],
)
def test_what_is_refused(
    run: Run, tmp_path: Path, arguments: tuple[str, ...], status: int, says: str
) -> None:
    """An id that exists, or a kind, family or id of the wrong form, writes nothing."""
    done = run("kb", "new", *arguments, "--dir", tmp_path)
    assert done.exit_code == status
    assert says in " ".join(done.stderr.split())
    assert list(tmp_path.iterdir()) == []


def test_starter_is_not_written_over(run: Run, tmp_path: Path) -> None:
    """A starter that is being filled in is not lost to a second call."""
    assert run("kb", "new", "cause", "mine", "--dir", tmp_path).exit_code == 0
    file = tmp_path / "causes" / "mine.yaml"
    file.write_text("mine", encoding="utf-8")
    done = run("kb", "new", "cause", "mine", "--dir", tmp_path)
    assert done.exit_code == 1
    assert "is there already" in done.stderr
    assert file.read_text(encoding="utf-8") == "mine"


def test_nearest_id_is_proposed_to_look_at(run: Run, tmp_path: Path) -> None:
    """A new id near an old one points to the old one, which may be what was meant."""
    done = run("kb", "new", "cause", "ground-opened", "--dir", tmp_path)
    assert done.exit_code == 0
    assert "'ground-open'" in done.stdout
