"""Steps without their caution: what is done on a machine and nobody warns of."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from engine.audit.separation import circuit_of, machine_words, machines
from engine.knowledge import Fault, Knowledge, items
from engine.knowledge.items import applies
from engine.knowledge.rule_language import StepTest
from engine.physics.machine import Machine, Variant
from engine.physics.model import variants_of
from engine.rules.cautions import check_hazards, remedy_hazards
from engine.rules.views import CaseView, holds

HANDS_ON = ("try", "lamp", "meter", "clamp", "recorder")
# What these events tell shows only while the solenoid is commanded.
COMMANDED_EVENTS = (
    "relay-operates", "pull-is-strong", "pulls-in", "stays-in", "hand-held-stays",
    "lamp-pull-bright", "lamp-pull-lit", "lamp-hold-bright", "lamp-hold-lit", "works-with-jumper",
    "works-with-relay-swapped",
)  # fmt: skip
COMMANDING = ("energises", "hand-energise", "cranks", "releases-brake")


def step_faults(knowledge: Knowledge) -> Iterator[Fault]:
    """Yield steps without a named danger, dangers without a caution, machines without any."""
    for check in knowledge.checks.values():
        yield from _named(check)
    for cause in knowledge.causes.values():
        if not cause.hazards and any(state.changes for state in cause.states):
            yield Fault(f"{cause.file}: hazards", "names no danger of the remedy")
    yield from _unsaid(knowledge)
    yield from _general(knowledge)


def _named(check: items.Check) -> Iterator[Fault]:
    """Yield faults of the dangers that a check names itself."""
    path, by_hand = f"{check.file}: hazards", check.kind in HANDS_ON
    if by_hand and not check.hazards:
        yield Fault(path, f"names no danger, and it is done by hand ({check.kind})")
    elif check.reading is not None:
        needs = "ohms" if check.reading.quantity == "resistance" else "live"
        if needs not in check.hazards:
            yield Fault(path, f"lacks '{needs}': a {check.reading.quantity} is measured")
    elif check.outcomes is not None and not check.commanded:
        seen = sorted(set(_events(check.outcomes.tree)) & set(COMMANDED_EVENTS))
        if seen and by_hand and not set(COMMANDING) & set(check.hazards):
            message = f"must be true: {seen[0]} shows only while the solenoid is commanded"
            yield Fault(f"{check.file}: commanded", message)


def _events(tree: items.Branch | items.Distribution) -> Iterable[str]:
    if isinstance(tree, items.Branch):
        if isinstance(tree.test, str):
            yield tree.test
        yield from _events(tree.then)
        yield from _events(tree.otherwise)


def _unsaid(knowledge: Knowledge) -> Iterator[Fault]:
    """Yield a fault for each danger of a check or remedy that no caution rule speaks of.

    A rule that speaks of several dangers alike does not stand in for one that speaks of this one.
    """
    silent: dict[tuple[str, str], list[Machine]] = {}
    for machine in machines(knowledge):
        variants = variants_of(knowledge, machine)
        said = {hazard for hazard in items.HAZARDS if _said(knowledge, machine, hazard)}
        for file, hazards in _steps(knowledge, machine, variants):
            for hazard in hazards - said:
                silent.setdefault((file, hazard), []).append(machine)
    for (file, hazard), found in silent.items():
        where = machine_words(knowledge, found)
        yield Fault(f"{file}: hazards", f"no caution speaks of '{hazard}' on {where}")


def _steps(
    knowledge: Knowledge, machine: Machine, variants: Sequence[Variant]
) -> Iterable[tuple[str, frozenset[str]]]:
    """Yield the file and the hazards of each check and remedy on a machine."""
    where: Mapping[str, Any] = {
        "circuit": circuit_of(knowledge, machine), "coil": machine.coil,
        "system_volts": machine.system_volts,
    }  # fmt: skip
    for check in knowledge.checks.values():
        if applies(check.applies, **where):
            yield check.file, check_hazards(check, variants)
    for cause in knowledge.causes.values():
        if applies(cause.applies, **where):
            yield cause.file, remedy_hazards(cause, variants)


def _view(machine: Machine) -> CaseView:
    return CaseView({
        "duty": machine.duty, "control": machine.control, "coil": machine.coil,
        "system_volts": machine.system_volts,
    })  # fmt: skip


def _said(knowledge: Knowledge, machine: Machine, hazard: str) -> bool:
    """Return whether a caution about this hazard alone is said on a machine."""
    view = replace(_view(machine), hazards=frozenset({hazard}))
    return any(
        {one.hazard for one in program.walk() if isinstance(one, StepTest)} == {hazard}
        and all(holds(one, view, frozenset()) for one in program.conditions)
        for name, program in knowledge.programs.items()
        if knowledge.rules[name].family == "cautions"
    )


def _general(knowledge: Knowledge) -> Iterator[Fault]:
    """Yield a fault for the machines about which no caution is said before anything is found."""
    general = [
        program
        for name, program in knowledge.programs.items()
        if knowledge.rules[name].family == "cautions"
        and not any(isinstance(one, StepTest) for one in program.walk())
    ]
    bare = [
        machine
        for machine in machines(knowledge)
        if not any(
            all(holds(one, _view(machine), frozenset()) for one in program.conditions)
            for program in general
        )
    ]
    if bare:
        where = machine_words(knowledge, bare)
        yield Fault("kb/rules/cautions", f"no general caution is said on {where}")
