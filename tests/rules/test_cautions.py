"""Which hazards a step carries: its own, and what the moment brings on that machine."""

from collections.abc import Callable

import pytest

from engine.knowledge import Knowledge
from engine.physics.machine import Variant
from engine.rules.cautions import Cautions, caution_text, check_hazards, remedy_hazards
from engine.rules.views import CaseView

Make = Callable[..., Variant]


def test_a_caution_is_the_danger_and_what_to_do(knowledge: Knowledge) -> None:
    """The text of a caution is what was found and what to do next."""
    rule = knowledge.rules["step-live"]
    assert caution_text(rule) == f"{rule.because.found} {rule.because.next}"


@pytest.mark.parametrize(
    ("kind", "brings", "not_brought"),
    [
        ("timed", {"energises", "plunger"}, {"cranks", "releases-brake"}),
        ("crank", {"energises", "plunger", "cranks"}, {"releases-brake"}),
        ("request", {"energises", "releases-brake"}, {"cranks"}),
        ("brake-timed", {"energises", "releases-brake"}, {"cranks"}),
    ],
)
def test_a_reading_on_command_brings_what_the_control_does(
    kind: str, brings: set[str], not_brought: set[str], knowledge: Knowledge, variant: Make
) -> None:
    """The same reading cranks the engine on one control and releases the brake on another."""
    hazards = check_hazards(knowledge.checks["pull-pin-voltage"], [variant(kind)])
    assert {"live", *brings} <= hazards
    assert not hazards & not_brought


def test_ohms_bring_nothing_live(knowledge: Knowledge, variant: Make) -> None:
    """Ohms are taken on a dead circuit: no crank, no release, nothing energised."""
    hazards = check_hazards(knowledge.checks["pull-winding-ohms"], [variant("crank")])
    assert "ohms" in hazards
    assert not hazards & {"cranks", "energises", "releases-brake", "live"}


def test_with_the_control_unknown_all_hazards_count(knowledge: Knowledge, variant: Make) -> None:
    """When the machine may have either control, the step carries the hazards of both."""
    both = [variant("timed"), variant("crank")]
    check = knowledge.checks["pull-pin-voltage"]
    assert check_hazards(check, both) == check_hazards(check, both[:1]) | check_hazards(
        check, both[1:]
    )


def test_a_check_done_by_ear_on_command_brings_the_command(
    knowledge: Knowledge, variant: Make
) -> None:
    """Listening for the relay needs the command, and so the crank on a crank control."""
    check = knowledge.checks["relay-click"]
    assert check.commanded
    assert "cranks" in check_hazards(check, [variant("crank")])
    assert "cranks" not in check_hazards(check, [variant("timed")])


def test_a_remedy_that_energises_brings_the_command(knowledge: Knowledge, variant: Make) -> None:
    """Proving a repair under power does on the machine what the command does there."""
    cause = knowledge.causes["ground-resistive"]
    assert "energises" in cause.hazards
    assert "cranks" in remedy_hazards(cause, [variant("crank")])
    assert "releases-brake" in remedy_hazards(cause, [variant("request")])


def test_what_kills_comes_first_and_once(knowledge: Knowledge) -> None:
    """Of a step's cautions those about what kills stand first, in the table's order; the others
    follow by their rules' ids, and none is there twice."""
    cautions, killers = Cautions(knowledge), list(knowledge.rows("killers"))
    view = CaseView({"duty": "brake-release", "control": "ignition-timed", "system_volts": 24})
    texts = cautions.for_step(frozenset({"live", "jumper", "energises", "releases-brake"}), view)
    by_text = {caution_text(knowledge.rules[name]): name for name in cautions.step_rules}
    names = [by_text[text] for text in texts]
    first = [name for name in killers if name in names]
    assert names == [*first, *sorted(set(names) - set(killers))]
    assert first[0] == "step-releases-brake"
    assert len(set(texts)) == len(texts) > len(first) + 3


def test_killers_are_cautions(knowledge: Knowledge) -> None:
    """Every row of the table names a caution, and every caution that stops a call at the desk is
    among them."""
    killers = knowledge.rows("killers")
    cautions = {name for name, rule in knowledge.rules.items() if rule.family == "cautions"}
    assert set(killers) <= cautions
    assert {"brake-will-not-hold", "brake-lock-broken", "engine-that-does-not-stop",
            "smoking-coil"} <= set(killers)  # fmt: skip


def test_no_hazard_no_caution(knowledge: Knowledge) -> None:
    """A question on the phone that moves nothing carries no caution on a fuel machine."""
    view = CaseView({"duty": "fuel-shutoff", "control": "ignition-timed", "system_volts": 12})
    assert Cautions(knowledge).for_step(frozenset(), view) == []
