"""Which cautions a step carries, what kills first: from its hazards, its moment and the machine."""

from collections.abc import Callable, Iterable, Sequence

from engine.knowledge import Knowledge, items
from engine.knowledge.rule_language import StepTest
from engine.physics.machine import Variant
from engine.rules.views import CaseView, tester

# What the circuit brings is what the moment does to people, whoever measures.
COMMAND_PHASE = "on-command"


def caution_text(rule: items.Rule) -> str:
    """Return a caution as one text: the danger, then what to do."""
    return f"{rule.because.found} {rule.because.next}"


def killers_first(knowledge: Knowledge) -> Callable[[str], tuple[int, str]]:
    """Return a key that sorts cautions by their rule: what kills (table killers), then by id."""
    place = {name: number for number, name in enumerate(knowledge.rows("killers"))}
    return lambda rule: (place.get(rule, len(place)), rule)


def check_hazards(check: items.Check, variants: Sequence[Variant]) -> frozenset[str]:
    """Return the hazards of doing a check on a machine that may have any of the variants."""
    hazards = _had(check.hazards, variants)
    for variant in variants:
        brings = variant.circuit.brings
        if check.reading is not None and check.reading.quantity != "resistance":
            hazards.update(brings.get(check.reading.phase, ()))
        if check.commanded:
            hazards.update(brings.get(COMMAND_PHASE, ()))
    return frozenset(hazards)


def remedy_hazards(cause: items.Cause, variants: Sequence[Variant]) -> frozenset[str]:
    """Return the hazards of putting a cause right and proving it, on the machine."""
    hazards = _had(cause.hazards, variants)
    for variant in variants:
        if "energises" in cause.hazards:
            hazards.update(variant.circuit.brings.get(COMMAND_PHASE, ()))
    return frozenset(hazards)


def _had(hazards: Iterable[str], variants: Sequence[Variant]) -> set[str]:
    """Return the hazards that a machine of its duty can have."""
    duties = {variant.circuit.duty for variant in variants}
    return {one for one in hazards if items.HAZARDS_OF_DUTY.get(one) in {None, *duties}}


class Cautions:
    """The cautions about steps, asked for by hazards."""

    def __init__(self, knowledge: Knowledge) -> None:
        names = (
            name
            for name, rule in knowledge.rules.items()
            if rule.family == "cautions"
            and any(isinstance(test, StepTest) for test in knowledge.programs[name].walk())
        )
        self._rules = {
            name: knowledge.rules[name] for name in sorted(names, key=killers_first(knowledge))
        }
        conditions = {name: knowledge.programs[name].conditions for name in self._rules}
        self._needs = {
            name: frozenset(one.hazard for one in tests if isinstance(one, StepTest))
            for name, tests in conditions.items()
        }
        self._tests = {
            name: [tester(one) for one in tests if not isinstance(one, StepTest)]
            for name, tests in conditions.items()
        }

    @property
    def step_rules(self) -> frozenset[str]:
        """Return the ids of the caution rules that are about steps."""
        return frozenset(self._rules)

    def for_step(self, hazards: frozenset[str], case: CaseView) -> list[str]:
        """Return the texts of the cautions for a step with these hazards, what kills first."""
        view = CaseView(case.machine, case.findings, case.beliefs, hazards)
        nothing: frozenset[str] = frozenset()
        return [
            caution_text(rule)
            for name, rule in self._rules.items()
            if self._needs[name] <= hazards and all(one(view, nothing) for one in self._tests[name])
        ]
