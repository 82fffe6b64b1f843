"""No step without its caution: every check and every remedy on every machine there is."""

import re
from collections.abc import Iterator

import pytest

from engine.diagnosis import shipped
from engine.knowledge import Knowledge, items
from engine.knowledge.items import applies
from engine.physics.behaviour import AFTER, COMMAND, CRANKING, RUNNING
from engine.physics.hypotheses import Hypothesis, make_cases
from engine.physics.machine import Variant
from engine.physics.model import applicable_checks
from engine.physics.solution import Solution, solve_situations
from engine.rules.cautions import Cautions, check_hazards, remedy_hazards
from engine.rules.views import CaseView
from tests.safety.support import MUST_SAY, case_of, lacking, name_of, variants

ALL = list(variants(shipped().knowledge))
# Events that are seen only while the solenoid is commanded; a test lamp is read on command too.
ON_COMMAND = ("relay-operates", "pull-is-strong", "pulls-in", "stays-in", "works-now",
              "works-with-jumper", "works-with-relay-swapped", "fuse-opens", "lamp-pull-bright",
              "lamp-pull-lit", "lamp-hold-bright", "lamp-hold-lit")  # fmt: skip

on_every_machine = pytest.mark.parametrize("variant", ALL, ids=name_of)


def test_there_are_sixteen_machines() -> None:
    """Four circuits, two coil styles and two voltages are sixteen machines."""
    assert len({name_of(one) for one in ALL}) == 16


def test_a_note_that_asks_for_a_second_person_says_where_to_stand(knowledge: Knowledge) -> None:
    """A rule's note stands alone, without the cautions of a step: one works while another cranks
    or commands."""
    asking = {
        name: rule.because.next for name, rule in knowledge.rules.items()
        if rule.family != "cautions" and "second person" in rule.because.next
    }  # fmt: skip
    assert len(asking) >= 5
    assert [name for name, text in asking.items() if not re.search(r"(hands|parts?|belts).* clear|"
            r"clear of", text)] == []  # fmt: skip


@on_every_machine
def test_every_check_has_the_caution_of_each_hazard(
    variant: Variant, knowledge: Knowledge, cautions: Cautions
) -> None:
    """For each hazard of a check on this machine some caution says the danger and what to do."""
    bare = {}
    for name, check in applicable_checks(knowledge.checks, variant).items():
        hazards = check_hazards(check, [variant])
        texts = cautions.for_step(hazards, case_of(variant))
        missing = lacking(hazards, texts, variant.circuit.duty)
        if missing:
            bare[name] = missing
    assert bare == {}


@on_every_machine
def test_every_remedy_has_the_caution_of_each_hazard(
    variant: Variant, knowledge: Knowledge, cautions: Cautions
) -> None:
    """For each hazard of putting a cause right some caution says the danger and what to do."""
    bare = {}
    for name, cause in knowledge.causes.items():
        if not applies(cause.applies, circuit=variant.circuit, coil=variant.coil):
            continue
        hazards = remedy_hazards(cause, [variant])
        texts = cautions.for_step(hazards, case_of(variant))
        missing = lacking(hazards, texts, variant.circuit.duty)
        if missing:
            bare[name] = missing
    assert bare == {}


@on_every_machine
def test_what_is_read_live_says_so(
    variant: Variant, knowledge: Knowledge, cautions: Cautions
) -> None:
    """Volts, amperes and seconds are read live, ohms dead; each carries its own caution."""
    for check in applicable_checks(knowledge.checks, variant).values():
        if check.reading is None:
            continue
        wanted = "ohms" if check.reading.quantity == "resistance" else "live"
        hazards = check_hazards(check, [variant])
        assert wanted in hazards, check.id
        texts = cautions.for_step(hazards, case_of(variant))
        assert not lacking(frozenset({wanted}), texts, variant.circuit.duty), check.id


def healthy(variant: Variant) -> Solution:
    """Solve the good circuit at each of its moments."""
    cases = make_cases([Hypothesis("healthy", "healthy", 1.0, ())], variant)
    (found,) = solve_situations([cases], [COMMAND, AFTER, CRANKING, RUNNING])
    return found


@on_every_machine
def test_a_moment_brings_what_the_circuit_does_then(variant: Variant) -> None:
    """Where the starter draws current the moment cranks; where a winding of a brake solenoid is
    fed it releases the brake; where the pull is fed it energises and the plunger moves."""
    solution, brings = healthy(variant), variant.circuit.brings
    for situation in (COMMAND, AFTER, CRANKING, RUNNING):
        here = brings.get(situation.phase, ())
        starter = abs(float(solution.amperes(situation, "starter")[0])) > 1
        pull = abs(float(solution.amperes(situation, "pull-winding")[0])) > 5
        hold = abs(float(solution.amperes(situation, "hold-winding")[0])) > 0.1
        assert ("cranks" in here) == starter, situation.phase
        if pull:
            assert {"energises", "plunger"} <= set(here)
        if variant.circuit.duty == "brake-release" and (pull or hold):
            assert "releases-brake" in here, situation.phase
    assert variant.circuit.brings.get("off", ()) == ()


@on_every_machine
def test_a_step_on_command_says_what_the_command_does(
    variant: Variant, knowledge: Knowledge, cautions: Cautions
) -> None:
    """A reading while cranking, energising or releasing the brake has cautions that say so; so
    have a look or trial on command, and a repair that is proved on command."""
    brings = variant.circuit.brings
    steps = {}
    for check in applicable_checks(knowledge.checks, variant).values():
        phases = [COMMAND.phase] if check.commanded else []
        if check.reading is not None and check.reading.quantity != "resistance":
            phases.append(check.reading.phase)
        steps[check.id] = check_hazards(check, [variant]), phases
    for cause in knowledge.causes.values():
        if applies(cause.applies, circuit=variant.circuit, coil=variant.coil):
            phases = [COMMAND.phase] if "energises" in cause.hazards else []
            steps[cause.id] = remedy_hazards(cause, [variant]), phases
    for name, (hazards, phases) in steps.items():
        brought = frozenset(one for phase in phases for one in brings.get(phase, ()))
        texts = cautions.for_step(hazards, case_of(variant))
        assert not lacking(brought, texts, variant.circuit.duty), name


def test_a_repair_that_is_proved_by_starting_the_engine_cranks_it(knowledge: Knowledge) -> None:
    """Where the proof has the engine crank, start, run or stop, somebody starts it: the repair has
    the caution of that, with every control type."""
    started = re.compile(r"[Cc]rank|[Ee]ngine (starts|runs|stops)")
    proved = [one for one in knowledge.causes.values() if started.search(one.proof_of_repair)]
    assert len(proved) > 10
    bare = [
        (cause.id, variant.circuit.id)
        for cause in proved
        for variant in ALL
        if variant.circuit.duty == "fuel-shutoff"
        and applies(cause.applies, circuit=variant.circuit, coil=variant.coil)
        and "cranks" not in remedy_hazards(cause, [variant])
    ]
    assert bare == []


def events_of(tree: items.Branch | items.Distribution) -> Iterator[str]:
    """Yield the events that a tree asks about."""
    if isinstance(tree, items.Branch):
        if isinstance(tree.test, str):
            yield tree.test
        yield from events_of(tree.then)
        yield from events_of(tree.otherwise)


def test_what_is_seen_on_command_is_marked_as_commanded(knowledge: Knowledge) -> None:
    """A look, a trial or a lamp that needs the solenoid commanded says so, and so gets the
    cautions of the crank, the release or the key-on."""
    unmarked = {
        name
        for name, check in knowledge.checks.items()
        if check.kind in ("look", "try", "lamp") and check.outcomes is not None
        and set(events_of(check.outcomes.tree)) & set(ON_COMMAND) and not check.commanded
    }  # fmt: skip
    assert unmarked == set()


def test_by_hand_and_on_the_bench(knowledge: Knowledge) -> None:
    """Energising by hand, pushing the plunger and bridging a ground are hazards of their own."""
    hazards = {name: set(check.hazards) for name, check in knowledge.checks.items()}
    assert {"hand-energise", "jumper", "plunger"} <= hazards["bench-pull"]
    assert {"plunger", "releases-brake", "opens-fuel"} <= hazards["hand-push-hold"]
    assert "jumper" in hazards["ground-jumper"]
    assert "pressurised" in hazards["fuel-at-injectors"]
    assert "under-machine" in hazards["lock-look"]


@pytest.mark.parametrize("duty", items.DUTIES)
@pytest.mark.parametrize("hazard", items.HAZARDS)
def test_every_hazard_has_a_caution(
    hazard: str, duty: str, knowledge: Knowledge, cautions: Cautions
) -> None:
    """Each hazard of the closed set has a caution of its own on each duty where it can occur, with
    every control type and voltage."""
    for circuit in knowledge.circuits.values():
        if circuit.duty != duty:
            continue
        for volts in items.SYSTEM_VOLTS:
            case = CaseView({"duty": duty, "control": circuit.control, "system_volts": volts})
            texts = cautions.for_step(frozenset({hazard}), case)
            assert not lacking(frozenset({hazard}), texts, duty)


def test_the_words_are_those_of_one_hazard() -> None:
    """The words asked for are not met by the caution of something else: each tells its hazard."""
    assert set(MUST_SAY) == set(items.HAZARDS)
    idle = "Follow the machine maker's service manual, the site's lockout rules and local codes."
    assert lacking(frozenset(items.HAZARDS), [idle], "brake-release") == (
        set(items.HAZARDS) - {"opens-fuel"}
    )


@pytest.mark.parametrize("duty", items.DUTIES)
def test_a_hazards_own_words_come_from_its_own_caution(duty: str, cautions: Cautions) -> None:
    """Taking away one hazard takes away its caution: no other hazard's caution stands in for it."""
    control = "ignition-timed"
    case = CaseView({"duty": duty, "control": control, "system_volts": 12})
    stand_in = []
    other = "releases-brake" if duty == "fuel-shutoff" else "opens-fuel"
    for hazard in items.HAZARDS:
        rest = frozenset(items.HAZARDS) - {hazard}
        if hazard != other and not lacking(
            frozenset({hazard}), cautions.for_step(rest, case), duty
        ):
            stand_in.append(hazard)
    assert stand_in == []
