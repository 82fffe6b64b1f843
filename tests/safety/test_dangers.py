"""What a danger rules out: in every answer of all worked cases and rule cases that meet it."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from engine.diagnosis import Diagnoser
from engine.knowledge import Knowledge
from engine.knowledge.text import load_yaml
from engine.physics.model import applicable_checks
from engine.rules.cautions import Cautions, caution_text, check_hazards
from engine.rules.views import CaseView
from tests.safety.forbidden import sentences, texts
from tests.safety.support import case_of, variants

CASES = Path(__file__).parents[1] / "cases"
COMMANDED = frozenset({"energises", "cranks", "releases-brake", "hand-energise"})
# Told from memory, by phone: nobody is to try it again.
REMEMBERED = frozenset({"engine-response", "brake-response", "crank-speed"})
PLUG_OFF = frozenset({
    "pull-pin-voltage-after-unplugged", "pull-pin-voltage-unplugged",
    "hold-pin-voltage-unplugged", "lamp-at-pull-pin",
})  # fmt: skip
UNPLUGGED_AND_COLD = frozenset({
    "connector-look", "pull-winding-ohms", "hold-winding-ohms", "pull-to-hold-ohms",
    "winding-to-case-ohms", "harness-pull-to-ground-ohms", "harness-hold-to-ground-ohms",
})  # fmt: skip

# With one of these it is known whether the pull ends.
PULL_MEASURED = frozenset({
    "pull-pin-voltage-after", "pull-pin-voltage-after-unplugged", "pull-pulse-seconds",
})  # fmt: skip

Requests = dict[str, dict[str, Any]]


@pytest.fixture(scope="module")
def requests() -> Requests:
    """The request of every worked case, open call and rule case, by its name."""
    return dict(_requests())


def _requests() -> Iterator[tuple[str, dict[str, Any]]]:
    for folder in ("worked", "calls/open"):
        for path in sorted((CASES / folder).glob("*.yaml")):
            yield path.stem, load_yaml(path.read_text(encoding="utf-8"), path.name)["request"]
    for path in sorted((CASES / "rules").glob("*.yaml")):
        found = load_yaml(path.read_text(encoding="utf-8"), path.name)
        for kind in ("fires", "silent"):
            for number, case in enumerate(found[kind]):
                yield f"{path.stem}-{kind}-{number}", case["request"]


def said(request: dict[str, Any], check: str, outcome: str) -> bool:
    """Return whether a finding of the request says this."""
    return any(
        one.get("check") == check and one.get("outcome") == outcome
        for one in request.get("findings", [])
    )


def meeting(requests: Requests, check: str, outcome: str) -> Requests:
    """Return the requests in which a finding says this, of a pump that is not electronic."""
    found = {
        name: one
        for name, one in requests.items()
        if said(one, check, outcome) and not said(one, "fuel-control", "electronic")
    }
    assert len(found) >= 10
    return found


def proposed(request: dict[str, Any], diagnoser: Diagnoser) -> dict[str, frozenset[str]]:
    """Return the hazards of every check that the answer proposes, on machines of the duty."""
    duty = request["machine"]["duty"]
    knowledge = diagnoser.knowledge
    mine = [
        one for one in variants(knowledge)
        if one.circuit.duty == duty
        and request["machine"]["control"] in (one.circuit.control, "unknown")
    ]  # fmt: skip
    return {
        one["check"]: check_hazards(knowledge.checks[one["check"]], mine)
        for one in diagnoser.diagnose(request)["next_checks"]
    }


def test_after_smoke_nothing_is_commanded_with_the_plug_on(
    requests: Requests, diagnoser: Diagnoser
) -> None:
    """After smoke no commanded step is proposed until the part is unplugged and cold, and then
    only with the plug off, until the pull is proved to end."""
    for case, one in meeting(requests, "coil-temperature", "smoking").items():
        checks = {found.get("check") for found in one["findings"]}
        if checks & PULL_MEASURED:
            continue
        allowed = REMEMBERED | (PLUG_OFF if checks & UNPLUGGED_AND_COLD else frozenset())
        asked = proposed(one, diagnoser)
        assert {name for name in asked if asked[name] & COMMANDED} <= allowed, case


def test_an_engine_that_will_not_stop_is_not_started(
    requests: Requests, diagnoser: Diagnoser
) -> None:
    """On an engine that does not stop no step is proposed that needs a start."""
    for case, one in meeting(requests, "engine-response", "will-not-stop").items():
        asked = proposed(one, diagnoser)
        assert {name for name in asked if "cranks" in asked[name]} <= REMEMBERED, case


SECURED = {"check": "machine-secured", "outcome": "secured"}


def test_a_brake_that_will_not_hold_asks_for_nobody_near_it(
    requests: Requests, diagnoser: Diagnoser
) -> None:
    """On a brake that does not hold only questions are left that need nobody near the machine."""
    checks = diagnoser.knowledge.checks
    for case, one in meeting(requests, "brake-response", "will-not-hold").items():
        if SECURED not in one["findings"]:
            asked = proposed(one, diagnoser)
            left = {name for name in asked if checks[name].kind != "ask" or asked[name]}
            assert left == set(), case


def test_a_rolling_machine_is_first_asked_safe(diagnoser: Diagnoser) -> None:
    """On a brake that does not hold, the first thing asked is whether the machine is secured."""
    rolls = {"check": "brake-response", "outcome": "will-not-hold"}
    machine = {"duty": "brake-release", "control": "controller-on-request", "coil": "unknown"}
    answer = diagnoser.diagnose({"machine": machine, "findings": [rolls]})
    assert answer["next_checks"][0]["check"] == "machine-secured"


@pytest.mark.parametrize(
    ("control", "coil", "volts"),
    [
        ("controller-on-request", "case-ground", 12),
        ("controller-on-request", "body-ground", 24),
        ("ignition-timed", "unknown", 12),
        ("unknown", "case-ground", 24),
    ],
)
def test_a_secured_machine_is_looked_at_with_nothing_commanded(
    control: str, coil: str, volts: int, diagnoser: Diagnoser
) -> None:
    """Once it is secured trained hands may look at the lock, of all commands only lifting it by
    hand; still nothing is commanded, and nothing else that lifts the lock or moves is proposed. A
    lay person is sent neither to the lock nor to anything live."""
    machine = {"duty": "brake-release", "control": control, "coil": coil, "system_volts": volts}
    rolls = {"check": "brake-response", "outcome": "will-not-hold"}
    request_ = {"machine": machine, "findings": [rolls, SECURED]}
    asked = proposed(request_, diagnoser)
    assert asked["lock-look"] & COMMANDED == {"releases-brake"}
    rest = {name: asked[name] for name in asked if name != "lock-look"}
    assert {name for name in rest if rest[name] & (COMMANDED | {"moving"})} == set()
    lay = proposed({**request_, "skill": "lay"}, diagnoser)
    near = COMMANDED | {"moving", "plunger", "under-machine", "live"}
    assert {name for name in lay if lay[name] & near} == set()


def test_ground_and_feed_jumpers_have_cautions_of_their_own(diagnoser: Diagnoser) -> None:
    """A ground lead and a feed lead each say where their clips go; neither says the other's."""
    for circuit in {one.circuit.id: one.circuit for one in variants(diagnoser.knowledge)}.values():
        case = CaseView({"duty": circuit.duty, "control": circuit.control, "system_volts": 12})
        ground = " ".join(diagnoser.cautions.for_step(frozenset({"jumper"}), case))
        feed = " ".join(diagnoser.cautions.for_step(frozenset({"jumper", "hand-energise"}), case))
        assert "never on a back-probe pin" in ground
        assert "never on a back-probe pin" in feed
        assert "The ground lead" in ground
        assert "The feed lead" not in ground
        assert "The feed lead" in feed
        assert "The ground lead" not in feed


def test_what_opens_an_injection_line_never_does_so_on_common_rail(knowledge: Knowledge) -> None:
    """Every text that has a line loosened says first that it is never done on common rail."""
    loosens = [
        (name, text)
        for kind in (knowledge.checks, knowledge.causes, knowledge.rules)
        for name, item in kind.items()
        for text in texts(item.raw)
        if re.search(r"\b[Ll]oosen .*\bline\b|half a turn", text)
    ]
    assert "fuel-at-injectors" in {name for name, _ in loosens}
    assert [one for one in loosens if not one[1].startswith("Never on common rail")] == []
    check = knowledge.checks["fuel-at-injectors"]
    assert check.say.startswith("Never on common rail, or when you do not know.")
    assert check.how.startswith("Never on common rail, or when you do not know.")


def test_starting_fluid_is_only_ever_forbidden(knowledge: Knowledge) -> None:
    """No text that speaks of starting fluid advises it."""
    spoken = [
        sentence
        for kind in (knowledge.checks, knowledge.causes, knowledge.rules)
        for item in kind.values()
        for text in texts(item.raw)
        for sentence in sentences(text)
        if "starting fluid" in sentence.lower()
    ]
    assert spoken
    assert [one for one in spoken if not re.match(r"(No|Never)\b", one)] == []


def test_no_caution_is_broken_by_its_own_step(knowledge: Knowledge, cautions: Cautions) -> None:
    """A commanded or energised step is not told to have power, engine or key off, and no step
    on a brake machine is told to set the brake that is in doubt: every check on every machine."""
    wrong, seen = [], 0
    for variant in variants(knowledge):
        for name, check in applicable_checks(knowledge.checks, variant).items():
            hazards = check_hazards(check, [variant])
            energised = "energises" in hazards and "hand-energise" not in hazards
            for text in cautions.for_step(hazards, case_of(variant)):
                low, seen = text.lower(), seen + energised
                off = re.search(r"power off first|engine off|key (out|off|in your pocket)", low)
                if (energised and off) or "parking brake set" in low:
                    wrong.append((name, text))
    assert wrong == []
    assert seen > 500


def test_what_kills_is_told_first(diagnoser: Diagnoser) -> None:
    """Of the cautions of an answer, those that a finding raised stand in the order of what kills:
    a brake that does not hold before a display, an engine that does not stop before a jump."""
    place = {name: n for n, name in enumerate(diagnoser.knowledge.rows("killers"))}
    for machine, check, outcome, first in (
        ({"duty": "brake-release", "control": "controller-on-request"}, "brake-response",
         "will-not-hold", "brake-will-not-hold"),
        ({"duty": "fuel-shutoff", "control": "ignition-timed"}, "engine-response",
         "will-not-stop", "engine-that-does-not-stop"),
    ):  # fmt: skip
        found = [{"check": check, "outcome": outcome}, {"check": "coil-temperature",
                                                        "outcome": "smoking"}]  # fmt: skip
        answer = diagnoser.diagnose({"machine": {**machine, "coil": "unknown"}, "findings": found})
        told = [one["id"] for one in answer["cautions"]]
        assert told[0] == first
        killers = [name for name in told if name in place]
        raised = killers[: 1 + killers.index("smoking-coil")]
        assert raised == sorted(raised, key=place.__getitem__)
        usual = diagnoser.diagnose({"machine": {**machine, "coil": "unknown"}, "findings": []})
        always = {one["id"] for one in usual["cautions"]}
        by_finding = [name not in always for name in told]
        assert by_finding == sorted(by_finding, reverse=True), "what a finding raised comes first"
        assert 1 < sum(by_finding) < len(told)


@pytest.mark.parametrize(
    ("pattern", "words", "rules"),
    [
        ("over-bumps", "harness is moved", ("step-moving", "step-plunger")),
        ("hot-only", "do not touch the coil", ("step-hot",)),
        ("wet-only", "while it is wet", ("step-live",)),
    ],
)
def test_a_step_taken_while_the_fault_is_brought_on_has_its_own_cautions(
    diagnoser: Diagnoser, pattern: str, words: str, rules: tuple[str, ...]
) -> None:
    """Whoever reads a meter beside a harness that is moved, hot or wet is told of that too."""
    wanted = [caution_text(diagnoser.knowledge.rules[name]) for name in rules]
    seen, missing = 0, []
    symptoms = {"fuel-shutoff": ("engine-response", "cranks-no-start"),
                "brake-release": ("brake-response", "will-not-release")}  # fmt: skip
    for one in variants(diagnoser.knowledge):
        machine = {"duty": one.circuit.duty, "control": one.circuit.control, "coil": one.coil,
                   "system_volts": one.system_volts}  # fmt: skip
        found = [symptoms[one.circuit.duty], ("failure-pattern", pattern)]
        answer = diagnoser.diagnose({
            "machine": machine, "on_hand": ["meter", "clamp"],
            "findings": [{"check": check, "outcome": outcome} for check, outcome in found],
        })  # fmt: skip
        for step in answer["next_checks"]:
            if words in step["say"]:
                seen += 1
                assert words in step["how"]
                missing += [
                    (machine, step["check"], text) for text in wanted
                    if text not in step["cautions"]
                ]  # fmt: skip
    assert seen > 5
    assert missing == []


@pytest.mark.parametrize(
    ("machine", "findings"),
    [
        (
            {"duty": "brake-release", "control": "ignition-timed", "coil": "case-ground"},
            [{"check": "brake-response", "outcome": "will-not-hold"}, SECURED],
        ),
        (
            {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "body-ground"},
            [{"check": "engine-response", "outcome": "will-not-stop"}],
        ),
    ],
    ids=["brake", "engine"],
)
def test_nothing_is_shaken_where_nothing_may_move(
    machine: dict[str, Any], findings: list[dict[str, Any]], diagnoser: Diagnoser
) -> None:
    """Of a machine that must not move readings are proposed as they stand, though the fault comes
    over bumps; what may be done, warming it, is asked for."""
    for pattern, asked in (("over-bumps", set()), ("hot-only", {"heated"})):
        answer = diagnoser.diagnose({
            "machine": machine, "on_hand": ["meter", "clamp"],
            "findings": [*findings, {"check": "failure-pattern", "outcome": pattern}],
        })  # fmt: skip
        steps = answer["next_checks"]
        assert len(steps) > 1
        assert {one["while"] for one in steps if "while" in one} == asked
        assert [
            one["check"] for one in steps if not asked and "harness is moved" in one["say"]
        ] == []
