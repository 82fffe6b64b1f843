"""The order in which rules may run, so that ``not_concluded`` never depends on firing order."""

from collections.abc import Mapping

from engine.knowledge.items import Rule
from engine.knowledge.rule_language import ConcludedTest, Group, Program


class NegationCycleError(Exception):
    """A rule denies a fact that its own conclusions can bring about."""

    def __init__(self, rule: str) -> None:
        self.rule = rule
        super().__init__(
            "not_concluded leads back to this rule's own conclusion: the answer would depend on "
            "the order in which rules fire"
        )


def _facts(program: Program) -> tuple[set[str], set[str]]:
    """Return the conclusions that a rule needs, and those that it denies."""
    wanted: set[str] = set()
    denied: set[str] = set()
    stack = [(condition, False) for condition in program.conditions]
    while stack:
        condition, negated = stack.pop()
        if isinstance(condition, ConcludedTest):
            (wanted if condition.wanted != negated else denied).add(condition.fact)
        elif isinstance(condition, Group):
            inner = negated != (condition.kind == "none")
            stack += [(member, inner) for member in condition.members]
    return wanted, denied


def layers(rules: Mapping[str, Rule], programs: Mapping[str, Program]) -> dict[str, int]:
    """Return a layer for each rule: above all that conclude what it denies, not below its needs.

    Stratification as in Apt, Blair and Walker 1988 (from memory). Raises NegationCycleError.
    """
    makers: dict[str, list[str]] = {}
    for name in rules:
        for fact in programs[name].concludes:
            makers.setdefault(fact, []).append(name)
    first = {"qualify": 0, "prove": 1000, "conclude": 2000}
    layer = {name: first[rule.stage] for name, rule in rules.items()}
    needs = {name: _facts(program) for name, program in programs.items()}
    for _ in range(len(rules) + 1):
        changed = False
        for name in rules:
            wanted, denied = needs[name]
            floor = [layer[maker] for fact in wanted for maker in makers.get(fact, ())]
            floor += [layer[maker] + 1 for fact in denied for maker in makers.get(fact, ())]
            if floor and max(floor) > layer[name]:
                layer[name] = max(floor)
                changed = True
        if not changed:
            return layer
    raise NegationCycleError(_denies_itself(needs, makers))


def _denies_itself(
    needs: Mapping[str, tuple[set[str], set[str]]], makers: Mapping[str, list[str]]
) -> str:
    """Return the first rule that denies a fact which hangs on its own conclusions."""
    for name, (_, denied) in sorted(needs.items()):
        todo = [maker for fact in denied for maker in makers.get(fact, ())]
        seen: set[str] = set()
        while todo:
            rule = todo.pop()
            if rule in seen:
                continue
            seen.add(rule)
            todo += [m for fact in set().union(*needs[rule]) for m in makers.get(fact, ())]
        if name in seen:
            return name
    raise AssertionError("layers grow only along a denial that leads back")
