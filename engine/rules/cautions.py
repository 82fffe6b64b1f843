"""Which cautions a step carries, what kills first: from its hazards, its moment and the machine."""

from collections.abc import Callable, Iterable, Sequence

from engine.knowledge import Knowledge, items
from engine.knowledge.rule_language import StepTest
from engine.physics.machine import Variant
from engine.rules.views import CaseView, Tester, tester

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
    phases = [COMMAND_PHASE] if check.commanded else []
    if check.reading is not None and check.reading.quantity != "resistance":
        phases.append(check.reading.phase)
    return _hazards(check.hazards, phases, variants)


def remedy_hazards(cause: items.Cause, variants: Sequence[Variant]) -> frozenset[str]:
    """Return the hazards of putting a cause right and proving it, on the machine."""
    phases = [COMMAND_PHASE] if "energises" in cause.hazards else []
    return _hazards(cause.hazards, phases, variants)


def _hazards(
    own: Iterable[str], phases: Sequence[str], variants: Sequence[Variant]
) -> frozenset[str]:
    """Return those of a step's own hazards that the duty can have, and what the phases bring."""
    duties = {None, *(variant.circuit.duty for variant in variants)}
    brought = [
        one for variant in variants for phase in phases
        for one in variant.circuit.brings.get(phase, ())
    ]  # fmt: skip
    return frozenset([*(one for one in own if items.HAZARDS_OF_DUTY.get(one) in duties), *brought])


class Cautions:
    """The cautions about steps, asked for by hazards."""

    def __init__(self, knowledge: Knowledge) -> None:
        # rule -> its text, the hazards that it needs, and its other tests
        self._about: dict[str, tuple[str, frozenset[str], list[Tester]]] = {}
        for name in sorted(knowledge.rules, key=killers_first(knowledge)):
            rule, program = knowledge.rules[name], knowledge.programs[name]
            if rule.family == "cautions" and any(isinstance(t, StepTest) for t in program.walk()):
                needs = frozenset(t.hazard for t in program.conditions if isinstance(t, StepTest))
                tests = [tester(t) for t in program.conditions if not isinstance(t, StepTest)]
                self._about[name] = caution_text(rule), needs, tests

    @property
    def step_rules(self) -> frozenset[str]:
        """Return the ids of the caution rules that are about steps."""
        return frozenset(self._about)

    def for_step(self, hazards: frozenset[str], case: CaseView) -> list[str]:
        """Return the texts of the cautions for a step with these hazards, what kills first."""
        view = CaseView(case.machine, case.findings, case.beliefs, hazards)
        asked = [one for one in self._about.values() if one[1] <= hazards]
        return [text for text, _, tests in asked if all(one(view) for one in tests)]
