"""The shape of each kind of file: what is refused, under which path, in which words."""

import copy
from collections.abc import Callable
from typing import Any

import pytest
from marshmallow import Schema, ValidationError

from engine.knowledge import Fault, items, shapes
from engine.knowledge.faults import nearest, unknown
from engine.knowledge.text import load_yaml

FILES = {
    "cause": ("causes/ground-resistive.yaml", shapes.schema_of(items.Cause)()),
    "reading": ("checks/ground-side-voltage.yaml", shapes.schema_of(items.Check)()),
    "outcome": ("checks/relay-click.yaml", shapes.schema_of(items.Check)()),
    "rule": ("rules/chains/behind-stuck-timer.yaml", shapes.schema_of(items.Rule)()),
    "base": ("circuits/three-wire.yaml", shapes.schema_of(items.Circuit)()),
    "circuit": ("circuits/fuel-shutoff-ignition-timed.yaml", shapes.schema_of(items.Circuit)()),
    "table": ("tables/instruments.yaml", shapes.schema_of(items.Table)()),
}
READING = shapes.schema_of(items.Reading, made=False)()
OUTCOMES = shapes.schema_of(items.Outcomes, made=False)()
DELETE = object()
CHANGE = ("states", 0, "changes", 0)
Path = tuple[str | int, ...]
# kind of file, where it is changed, to what, path of the fault, its message
WRONG: list[tuple[str, Path, Any, str, str]] = [
    ("cause", ("share",), DELETE, "share", "is missing"),
    ("cause", ("shares",), 8, "shares",
     "is not a field here (did you mean 'share'?); known here: id, name, section, applies, "
     "applies_any, share, minutes, source, states, looks_like, remedy, proof_of_repair, "
     "confirmed_by, hazards, own_figure, comes_and_goes, brought_by_new_part, "
     "another_trade"),
    ("cause", ("share",), "8", "share", "must be a number, not '8'"),
    ("cause", ("share",), True, "share", "must be a number, not True"),
    ("cause", ("share",), None, "share", "must not be empty (null)"),
    ("cause", ("share",), 0, "share", "Must be greater than 0."),
    ("cause", ("minutes",), -5, "minutes", "Must be greater than 0."),
    ("cause", ("minutes",), float("inf"), "minutes", "must be a finite number"),
    ("cause", ("minutes",), float("nan"), "minutes", "must be a finite number"),
    ("cause", ("minutes",), 10**400, "minutes", "is too large a number"),
    ("cause", ("id",), "Ground_Resistive", "id",
     "write ids in lower case with single hyphens: 'like-this'"),
    ("cause", ("name",), "", "name", "must not be empty"),
    ("cause", ("name",), ["x"], "name", "must be text"),
    ("cause", ("section",), "wire", "section", "unknown section 'wire' (did you mean 'wiring'?)"),
    ("cause", ("applies",), DELETE, "applies", "give either applies or applies_any"),
    ("cause", ("applies_any",), [{}], "applies", "give either applies or applies_any"),
    ("cause", ("applies",), {"coil": ["body"]}, "applies.coil[0]",
     "unknown coil 'body' (one of: case-ground, body-ground)"),
    ("cause", ("applies",), {"system_volts": [12, 48]}, "applies.system_volts[1]",
     "unknown system_volts '48' (one of: 12, 24)"),
    ("cause", ("applies",), {"engine": ["diesel"]}, "applies.engine",
     "is not a field here; known here: duty, control, coil, system_volts, fuel_actuation"),
    ("cause", ("hazards",), ["live", "hotter"], "hazards[1]",
     "unknown hazard 'hotter' (did you mean 'hot'?)"),
    ("cause", ("hazards",), "live", "hazards", "must be a list"),
    ("cause", ("states",), [], "states", "Shorter than minimum length 1."),
    ("cause", ("states",), ["x"], "states[0]", "must be a mapping of names to values"),
    ("cause", ("states", 0, "weight"), 0, "states[0].weight", "Must be greater than 0."),
    ("cause", (*CHANGE, "open"), True, "states[0].changes[0]",
     "has exactly one of open, closed, never, ohms, add_ohms, times_ohms, volts"),
    ("cause", (*CHANGE, "setting"), "pull-turns", "states[0].changes[0]",
     "names either a part or a setting"),
    ("cause", (*CHANGE, "times"), 2, "states[0].changes[0]",
     "has exactly one of open, closed, never, ohms, add_ohms, times_ohms, volts"),
    ("cause", (*CHANGE, "add_ohms"), {"from": 0.1}, "states[0].changes[0].add_ohms",
     "a range is written {from: a, to: b}"),
    ("cause", (*CHANGE, "add_ohms"), {"from": 0, "to": 1}, "states[0].changes[0].add_ohms",
     "a range runs between numbers above 0: it is spread in logs"),
    ("cause", (*CHANGE, "phases"), ["crank"], "states[0].changes[0].phases[0]",
     "unknown phase 'crank' (did you mean 'cranking'?)"),
    ("reading", ("kind",), "metre", "kind", "unknown kind 'metre' (did you mean 'meter'?)"),
    ("reading", ("setup",), "plugs", "setup", "unknown setup 'plugs' (did you mean 'plug'?)"),
    ("reading", ("result", "unit"), "mV", "result.unit", "unknown unit 'mV' (did you mean 'V'?)"),
    ("reading", ("result", "outcomes"), ["a", "b"], "result",
     "give unit, low and high, or outcomes"),
    ("reading", ("result", "low"), DELETE, "result", "give unit, low and high, or outcomes"),
    ("reading", ("instrument",), DELETE, "instrument", "is missing"),
    ("reading", ("repeatability", "value"), -0.1, "repeatability.value",
     "Must be greater than or equal to 0."),
    ("reading", ("repeatability", "source"), DELETE, "repeatability.source", "is missing"),
    ("outcome", ("slip",), DELETE, "slip", "is missing"),
    ("outcome", ("result", "outcomes"), ["heard"], "result.outcomes",
     "Shorter than minimum length 2."),
    ("outcome", ("outcome_words", "heard"), "", "outcome_words.heard", "must not be empty"),
    ("outcome", ("outcome_words", "heard"), 5, "outcome_words.heard", "must be text"),
    ("outcome", ("minutes",), -1, "minutes", "Must be greater than or equal to 0."),
    ("outcome", ("commanded",), "perhaps", "commanded", "must be true or false"),
    ("rule", ("when",), [], "when", "Shorter than minimum length 1."),
    ("rule", ("then",), {}, "then", "must be a list"),
    ("rule", ("because", "next"), DELETE, "because.next", "is missing"),
    ("rule", ("because", "points"), " ", "because.points", "must not be empty"),
    ("rule", ("family",), "trap", "family", "unknown family 'trap' (did you mean 'traps'?)"),
    ("base", ("plunger",), DELETE, "plunger", "is missing"),
    ("base", ("parts", 0, "between"), ["battery-negative"], "parts[0].between",
     "Length must be 2."),
    ("base", ("parts", 0, "ohms"), DELETE, "parts[0].ohms", "a part that is there has ohms"),
    ("base", ("parts", 0, "ohms"), 0, "parts[0].ohms",
     "Must be greater than or equal to 1e-06 and less than or equal to 1000000000.0."),
    ("base", ("coils", "body-ground", "colour"), "red", "coils.body-ground.colour",
     "is not a field here; known here: name, ground_point, probe, parts"),
    ("base", ("coils", "body"), {}, "coils.body",
     "unknown coil 'body' (one of: case-ground, body-ground)"),
    ("base", ("fuse_amps", "at_24_v"), DELETE, "fuse_amps.at_24_v", "is missing"),
    ("circuit", ("phases",), DELETE, "phases", "is missing"),
    ("circuit", ("duty",), "brake", "duty", "unknown duty 'brake' (did you mean 'brake-release'?)"),
    ("circuit", ("brings", "cranking"), ["crank"], "brings.cranking[0]",
     "unknown hazard 'crank' (did you mean 'cranks'?)"),
    ("circuit", ("brings", "crank"), ["cranks"], "brings.crank",
     "unknown phase 'crank' (did you mean 'cranking'?)"),
    ("table", ("rows",), [], "rows", "Shorter than minimum length 1."),
    ("table", ("source",), DELETE, "source", "is missing"),
]  # fmt: skip


def changed(content: Any, path: Path, value: Any) -> Any:
    """Return a copy of plain data with one place set or deleted."""
    copied = copy.deepcopy(content)
    place = copied
    for step in path[:-1]:
        place = place[step]
    if value is DELETE:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return copied


def faults(schema: Schema, content: Any) -> list[Fault]:
    """Return the faults of the shape."""
    with pytest.raises(ValidationError) as caught:
        schema.load(content)
    return shapes.flatten(caught.value.messages)


@pytest.mark.parametrize(
    "wrong", WRONG, ids=[f"{one[0]}:{one[3]}:{number}" for number, one in enumerate(WRONG)]
)
def test_wrong_shape(
    wrong: tuple[str, Path, Any, str, str], shipped_text: Callable[[str], str]
) -> None:
    """One thing wrong in a file gives one fault, at its own path, in plain words."""
    kind, place, value, path, message = wrong
    file, schema = FILES[kind]
    good = load_yaml(shipped_text(file), file)
    schema.load(good)
    assert faults(schema, changed(good, place, value)) == [Fault(path, message)]


@pytest.mark.parametrize(
    ("tree", "message"),
    [
        ({"heard": 0.9, "not-heard": 0.2}, "the distribution: shares sum to 1.1, not to 1"),
        ({"heard": 1.5, "not-heard": -0.5}, "the distribution: shares are not negative"),
        ({"heard": "most"}, "must be a number, not 'most'"),
        ("heard", "the tree: a distribution or if/then/else"),
        ({"if": "pulls-in", "then": {"heard": 1}}, "the tree: a branch has if, then and else"),
        ({"if": "pulls-out", "then": {"heard": 1}, "else": {"heard": 1}},
         "unknown event 'pulls-out' (did you mean 'pulls-in'?)"),
        ({"if": "pulls-in", "then": {"heard": 1},
          "else": {"if": "stays-in", "then": {"heard": 0.5}, "else": {"heard": 1}}},
         "else.then: shares sum to 0.5, not to 1"),
        ({"if": {"coil": ["none"]}, "then": {"heard": 1}, "else": {"heard": 1}},
         "unknown coil 'none' (one of: case-ground, body-ground)"),
    ],
)  # fmt: skip
def test_wrong_tree(tree: Any, message: str) -> None:
    """A tree names real events, its ends are shares that sum to 1, and the message says where."""
    found = faults(OUTCOMES, {"otherwise": tree})
    assert [fault.message for fault in found] == [message]
    assert found[0].path.startswith("otherwise")


@pytest.mark.parametrize(
    ("wrong", "path"),
    [
        ({"from": None}, "from"), ({"part": "ground", "quantity": "resistanc"}, "quantity"),
        ({"plug": "on"}, "plug"), ({"phase": "crank"}, "phase"), ({"load": "lamp"}, "load"),
        ({"from": {"case-ground": "common"}}, "from"), ({"at": "common"}, "at"),
    ],
)  # fmt: skip
def test_wrong_reading(wrong: dict[str, Any], path: str) -> None:
    """A reading's quantity, nodes, phase, plug and load come from closed sets."""
    good = {"quantity": "voltage", "from": "common", "to": "battery-negative",
            "phase": "on-command", "plug": "fitted"}  # fmt: skip
    READING.load(good)
    content = {**good, **wrong}
    assert path in [one.path for one in faults(READING, content)]


def test_a_current_is_that_of_a_part() -> None:
    """A current is read in a part; a voltage or resistance from one node to another."""
    current = {"quantity": "current", "phase": "on-command", "plug": "fitted"}
    READING.load({**current, "part": "pull-winding"})
    assert [one.path for one in faults(READING, current)] == ["part"]
    volts = {**current, "quantity": "voltage", "from": "common"}
    assert [one.path for one in faults(READING, volts)] == ["from"]


def test_several_faults_of_one_file_come_together(shipped_text: Callable[[str], str]) -> None:
    """A file with four slips gives four faults."""
    good = load_yaml(shipped_text("causes/ground-resistive.yaml"), "x")
    bad = changed(changed(good, ("share",), DELETE), ("minutes",), "20")
    bad = changed(changed(bad, ("hazards",), ["fire"]), (*CHANGE, "add_ohms"), {"to": 1})
    paths = {one.path for one in faults(shapes.schema_of(items.Cause)(), bad)}
    assert paths == {"share", "minutes", "hazards[0]", "states[0].changes[0].add_ohms"}


def test_nearest_id() -> None:
    """A word close to a known one brings it up; a word close to none brings nothing."""
    known = ("pull-pin-voltage", "hold-pin-voltage", "relay-click")
    assert nearest("pull-volts", known) == " (did you mean 'pull-pin-voltage'?)"
    assert nearest("zzz", known) == ""
    assert nearest(5, known) == ""
    long = "x" * 5000
    assert len(unknown("check", long, known)) < 100


def test_folded_text_is_one_line() -> None:
    """Prose folded over several lines is read as one line with single spaces."""
    assert shapes.Text().deserialize("one\n  two \t three\n") == "one two three"
