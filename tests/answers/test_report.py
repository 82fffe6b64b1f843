"""The report says what a technician needs, in the order in which it is needed."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from click.testing import Result

from api.answers import demos
from api.answers.report import sections
from api.answers.text import as_text, strength, sureness
from engine import Diagnoser, Knowledge, diagnose
from tests.sweeps import swept

TWO_FAULTS = {
    "machine": {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"},
    "findings": [
        {"check": "hold-winding-ohms", "outcome": "open", "measured_to": "ground-pin"},
        {"check": "pull-to-hold-ohms", "outcome": "open"},
        {"check": "pull-pin-voltage-unplugged", "value": 0, "unit": "V"},
        {"check": "relay-87-voltage", "value": 12.3, "unit": "V"},
        {"check": "fuse-output-voltage", "value": 12.4, "unit": "V"},
    ],
}
FIRST_SCREEN = ("Stop first", "What is wrong", "Set aside", "Do this next")
DEMOS = swept((demo.id for demo in demos.load_all()), 2)


@pytest.fixture(scope="module", params=DEMOS)
def answer(request: pytest.FixtureRequest, engine: Diagnoser) -> dict[str, Any]:
    """The answer to each demo case."""
    (demo,) = [demo for demo in demos.load_all() if demo.id == request.param]
    return engine.diagnose(demo.request)


def flat(lines: list[str]) -> str:
    """Return lines as one text with single spaces, so that wrapping does not matter."""
    return " ".join(" ".join(lines).split())


def test_first_screen_comes_first(answer: dict[str, Any], knowledge: Knowledge) -> None:
    """What is wrong, how sure, and what to do next stand before all reasons."""
    parts = sections(answer, knowledge)
    titles = [part.title for part in parts]
    first = [title in FIRST_SCREEN for title in titles]
    assert first == sorted(first, reverse=True)
    assert titles.index("What is wrong") < titles.index("Do this next") < titles.index("Always")
    screen = flat(as_text([part for part in parts if part.title in FIRST_SCREEN]))
    lead = answer["causes"][0]
    assert lead["name"] in screen
    assert sureness(lead["probability"]) in screen


def test_next_step_carries_its_cautions(answer: dict[str, Any], knowledge: Knowledge) -> None:
    """The first step is shown with every one of its cautions in full, before how it is done."""
    parts = {part.title: part for part in sections(answer, knowledge)}
    step = flat(as_text([parts["Do this next"]]))
    check = answer["advice"]["do"] == "check"
    by_name = {one["id"]: one for one in answer["causes"]}
    source = answer["next_checks"][0] if check else by_name[answer["advice"]["repair_order"][0]]
    doing = flat([source["how"] if check else source["remedy"]])
    assert source["cautions"]
    for caution in source["cautions"]:
        assert 0 <= step.index(flat([caution])) < step.index(doing)


def test_no_step_loses_its_caution(answer: dict[str, Any], knowledge: Knowledge) -> None:
    """Each step and repair has every caution of its own, in full or by the number it has above."""
    told = [part for part in sections(answer, knowledge) if part.title != "Always"]
    lines = [line.text for part in told for line in part.lines]
    steps = [(step["how"], step["cautions"]) for step in answer["next_checks"]]
    steps += [(cause["remedy"], cause["cautions"]) for cause in answer["causes"]]
    shown = [step for step in steps if step[0] in lines]
    assert len(shown) > len(answer["next_checks"])
    for doing, cautions in shown:
        end = lines.index(doing)
        end -= lines[end - 1].startswith("Read out:")  # the cautions stand before that too
        start = end
        while re.match(r"Cautions? \d", lines[start - 1]):
            start -= 1
        numbers = {caution_number(caution, lines[:end]) for caution in cautions}
        assert None not in numbers
        assert numbers == set(re.findall(r"\d+", " ".join(map(marks, lines[start:end]))))


def test_a_question_for_a_caller_has_its_sentence(knowledge: Knowledge) -> None:
    """A phone agent reads the sentence for the caller in the next step, behind its cautions."""
    machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "unknown"}
    silent = {"check": "relay-click", "outcome": "not-heard", "moment": "key-on"}
    found = diagnose({"machine": machine, "findings": [silent], "on_hand": ["ask"]})
    first = [part for part in sections(found, knowledge) if part.title in FIRST_SCREEN]
    assert [part.title for part in first][-3:] == ["What is wrong", "Set aside", "Do this next"]
    lines = [line.text for line in first[-1].lines]
    assert f'Read out: "{found["next_checks"][0]["say"]}"' in lines
    assert any("no reason to click" in line.text for line in first[-2].lines)


def caution_number(caution: str, lines: list[str]) -> str | None:
    """Return the number under which a caution is printed in full, if it is."""
    found = [re.fullmatch(r"Caution (\d+): " + re.escape(caution), line) for line in lines]
    return next((match.group(1) for match in found if match), None)


def marks(line: str) -> str:
    """Return the part of a caution line that names cautions by number."""
    return line.split(":", maxsplit=1)[0]


def test_nothing_of_the_answer_is_lost(answer: dict[str, Any], knowledge: Knowledge) -> None:
    """Evidence of the lead, what was set aside, proofs, further checks and cautions are told."""
    text = flat(as_text(sections(answer, knowledge)))
    lead = answer["causes"][0]
    heavy = [row for row in lead["evidence"] if abs(row["weight_db"]) >= 2]
    told = [row["observed"] for row in heavy]
    for row in heavy:
        from_rule = row["basis"].startswith("rule:")
        keys = ("because",) if from_rule else ("expected_if_cause", "expected_if_healthy")
        told += [row[key] for key in keys]
    aside = answer["set_aside"] + answer["weakened"]
    told += [row[key] for row in aside for key in ("because", "instead")]
    told += [row[key] for row in answer["proofs"] for key in ("says", "next")]
    told += [row[key] for row in answer["notes"] for key in ("found", "points", "next")]
    told += [row[key] for row in answer["next_checks"] for key in ("how", "why")]
    told += [row["text"] for row in answer["cautions"]]
    told += [lead["remedy"], lead["proof_of_repair"]]
    told += [row["because"] for row in lead["look_behind"]]
    for sentence in told:
        assert flat([sentence]) in text


def test_each_side_has_its_own_report(knowledge: Knowledge, engine: Diagnoser) -> None:
    """Findings on two brake solenoids give two reports, neither mixed into the other."""
    machine = {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"}
    findings = [
        {"check": "hold-winding-ohms", "outcome": "open", "side": "left"},
        {"check": "pull-winding-ohms", "outcome": "open", "side": "right"},
    ]
    answer = engine.diagnose({"machine": machine, "findings": findings})
    titles = [part.title for part in sections(answer, knowledge)]
    assert {title.split(":")[0] for title in titles} == {"Left solenoid", "Right solenoid"}
    assert titles == sorted(titles, key=lambda title: title.startswith("Right"))
    by_title = {part.title: part.lines for part in sections(answer, knowledge)}
    assert "Hold winding open" in by_title["Left solenoid: What is wrong"][0].text
    assert "Pull winding open" in by_title["Right solenoid: What is wrong"][0].text


def test_uncovered_machine_is_told_at_once(knowledge: Knowledge, engine: Diagnoser) -> None:
    """A machine without such a circuit gets that sentence first, and no ranking."""
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "unknown"}
    findings = [{"check": "fuel-control", "outcome": "electronic"}]
    answer = engine.diagnose({"machine": machine, "findings": findings})
    assert answer["scope"]["covered"] is False
    text = flat(as_text(sections(answer, knowledge)))
    assert "This machine is not covered." in text
    assert answer["scope"]["because"] in text
    assert "in 100" not in text


def test_brake_that_does_not_hold_stops_the_work_first(
    knowledge: Knowledge, engine: Diagnoser
) -> None:
    """A brake that will not hold is a danger before it is a diagnosis: that is said first."""
    machine = {"duty": "brake-release", "control": "controller-on-request", "coil": "unknown"}
    findings = [{"check": "brake-response", "outcome": "will-not-hold"}]
    answer = engine.diagnose({"machine": machine, "findings": findings})
    first = sections(answer, knowledge)[0]
    assert first.title == "Stop first"
    assert "do not operate" in flat(as_text([first])).lower()


def test_findings_at_odds_are_told_with_the_ranking(
    knowledge: Knowledge, engine: Diagnoser
) -> None:
    """When no cause predicts the findings, the ranking says so and names those at odds."""
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    findings = [
        {"check": "pull-current", "value": 30, "unit": "A"},
        {"check": "pull-winding-ohms", "outcome": "open", "measured_to": "ground-pin"},
        {"check": "plunger-action", "outcome": "pulls-and-stays"},
        {"check": "fuse-output-voltage", "value": 0, "unit": "V"},
    ]
    answer = engine.diagnose({"machine": machine, "findings": findings})
    assert answer["fit"]["verdict"] != "good"
    parts = {part.title: flat(as_text([part])) for part in sections(answer, knowledge)}
    assert "Take this with care" in parts["What is wrong"]
    for place in answer["fit"]["disagreeing"]:
        assert str(place + 1) in parts["How well it fits"]
    assert answer["fit"]["repeat"]
    assert "Take again before anything else" in parts["How well it fits"]


def test_two_faults_at_once_are_told_on_the_first_screen(
    knowledge: Knowledge, engine: Diagnoser
) -> None:
    """When two causes together fit better than one, both are named beside the ranking."""
    answer = engine.diagnose(TWO_FAULTS)
    (pair, *_) = answer["fit"]["pairs"]
    parts = {part.title: flat(as_text([part])) for part in sections(answer, knowledge)}
    assert "two faults at once" in parts["What is wrong"]
    for name in pair["names"]:
        assert name in parts["What is wrong"]
        assert name in parts["How well it fits"]
    assert knowledge.checks[pair["told_apart_by"]].name in parts["How well it fits"]


def test_causes_that_nothing_separates_are_told_as_such(
    knowledge: Knowledge, engine: Diagnoser
) -> None:
    """A ranking without evidence behind its order says that it is only how often each occurs."""
    machine = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}
    answer = engine.diagnose({"machine": machine, "findings": []})
    together = [row for row in answer["causes"] if row["group"] == answer["causes"][0]["group"]]
    text = flat(as_text(sections(answer, knowledge)))
    assert ("Nothing found so far tells the first" in text) == (len(together) > 1)


@pytest.mark.parametrize(
    ("probability", "says"),
    [
        (1.0, "as good as certain, over 99 in 100"),
        (0.83, "very likely, 83 in 100"),
        (0.5, "about as likely as not, 50 in 100"),
        (0.2, "possible, 20 in 100"),
        (0.004, "very unlikely, under 1 in 100"),
        (0.0, "very unlikely, under 1 in 100"),
    ],
)
def test_sureness_in_words(probability: float, says: str) -> None:
    """A probability is told in words and in hundredths, and never as certain or impossible."""
    assert sureness(probability) == says


@pytest.mark.parametrize(
    ("weight_db", "says"),
    [(21.0, "very strong, +21.0 dB"), (-11.2, "strong, -11.2 dB"), (0.3, "hardly any, +0.3 dB")],
)
def test_strength_in_words(weight_db: float, says: str) -> None:
    """Ten decibans are odds of ten to one (I. J. Good): that is called strong."""
    assert strength(weight_db) == says


def test_demo_list_names_every_case(run: Callable[..., Result]) -> None:
    """The demo cases are listed by name and title."""
    out = run("demo", "--list").stdout
    for demo in demos.load_all():
        assert demo.id in out
        assert demo.title in out


@pytest.mark.parametrize("name", DEMOS)
def test_demo_tells_its_story_then_the_report(run: Callable[..., Result], name: str) -> None:
    """A demo shows the case and then the same report that diagnose prints for its request."""
    (demo,) = [demo for demo in demos.load_all() if demo.id == name]
    shown = run("demo", name).stdout
    request = run("demo", name, "--request").stdout
    assert flat([demo.story]) in flat([shown])
    assert shown.endswith(run("diagnose", "-", stdin=request).stdout)


def test_no_part_is_named_before_one_stands_out(engine: Diagnoser, knowledge: Knowledge) -> None:
    """While every cause is improbable the report says so, and tells the repair of none of them."""
    machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "unknown"}
    cranks = {"check": "engine-response", "outcome": "cranks-no-start"}
    parts = sections(engine.diagnose({"machine": machine, "findings": [cranks]}), knowledge)
    assert "Too early to name a part" in flat(as_text(parts))
    assert not [part.title for part in parts if part.title.startswith(("Why", "If it is this"))]
