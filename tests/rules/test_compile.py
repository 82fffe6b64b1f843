"""The rules compiled to experta: quickly as slowly, used often as used once, and odd conditions."""

import gc
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from experta.strategies import DepthStrategy

from engine.knowledge import Knowledge, items
from engine.rules import experta_engine
from engine.rules.compile import Firing, RuleSet, concluded
from engine.rules.views import CaseView, FindingView
from tests.sweeps import ONLY_WHOLE, swept

STAGES = ("qualify", "prove", "conclude")
MANY_CASES = 600
OBJECTS_LEFT_OVER = 100  # after 500 further cases; one kept by each would be 500


def rule_sets(knowledge: Knowledge) -> dict[str, RuleSet]:
    """Return new rule sets of both stages."""
    return {
        stage: RuleSet(
            {name: rule for name, rule in knowledge.rules.items() if rule.stage == stage},
            knowledge.programs,
        )
        for stage in STAGES
    }


def run_all(sets: dict[str, RuleSet], view: CaseView) -> dict[str, list[Firing]]:
    """Run the stages, each on the conclusions of those before it."""
    known: frozenset[str] = frozenset()
    fired = {}
    for stage, rule_set in sets.items():
        fired[stage] = rule_set.run(view, known)
        known |= concluded(fired[stage])
    return fired


@pytest.fixture(scope="module")
def sets(knowledge: Knowledge) -> dict[str, RuleSet]:
    """Give compiled rule sets of the shipped base."""
    return rule_sets(knowledge)


def test_quick_matcher_fires_what_the_stock_matcher_fires(
    knowledge: Knowledge,
    sets: dict[str, RuleSet],
    odd_case: Callable[[int], CaseView],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """experta's own engine and matcher give the same firings in the same order."""
    monkeypatch.setattr(experta_engine, "QuickEngine", experta_engine.experta.KnowledgeEngine)
    stock = rule_sets(knowledge)
    fired = 0
    for seed in swept(range(0, 400, 20), 2):
        quick = run_all(sets, odd_case(seed))
        assert run_all(stock, odd_case(seed)) == quick, seed
        fired += len(quick["qualify"])
    assert fired > 10
    engine = stock["qualify"]._engine
    assert type(engine.matcher) is experta_engine.ReteMatcher


@pytest.mark.slow
@ONLY_WHOLE
def test_a_reused_rule_set_equals_a_fresh_one_and_does_not_grow(
    knowledge: Knowledge, odd_case: Callable[[int], CaseView]
) -> None:
    """After 600 cases a rule set still answers like a new one and holds no more objects."""
    chosen = {name: knowledge.rules[name] for name in sorted(knowledge.rules)[::4]}
    used = RuleSet(chosen, knowledge.programs)
    facts = sorted(_conclusions(knowledge))[:50]
    cases = [(odd_case(seed), frozenset([fact])) for seed, fact in enumerate(facts)]

    def answers(rule_set: RuleSet, numbers: range) -> Iterator[list[Firing]]:
        for number in numbers:
            yield rule_set.run(*cases[number % len(cases)])

    def alive(numbers: range) -> int:
        for _ in answers(used, numbers):
            pass
        used.run(CaseView({}))  # what the last case holds is gone then
        DepthStrategy.get_key.cache_clear()  # experta keeps the last 128 activations
        gc.collect()
        return len(gc.get_objects())

    before = alive(range(100))
    assert alive(range(100, MANY_CASES)) - before < OBJECTS_LEFT_OVER
    fresh = RuleSet(chosen, knowledge.programs)
    again = list(answers(fresh, range(100)))
    assert list(answers(used, range(100))) == again
    assert sum(len(one) for one in again) > 100


def _conclusions(knowledge: Knowledge) -> set[str]:
    return {
        fact
        for program in knowledge.programs.values()
        for action in program.actions
        if action.kind == "conclude"
        for fact in action.about
    }


def test_an_or_of_several_true_branches_fires_once(
    make_base: Callable[..., Any],
) -> None:
    """A rule whose alternatives all hold stands once in the list."""
    both = {"any": [{"concluded": "a"}, {"concluded": "b"}, {"machine": "system_volts", "is": 12}]}
    rules, programs = make_base({
        "makes-a": ("traps", [{"machine": "system_volts", "is": 12}], ["a"]),
        "makes-b": ("traps", [{"machine": "system_volts", "is": 12}], ["b"]),
        "wants-any": ("traps", [both], ["c"]),
    })  # fmt: skip
    fired = RuleSet(rules, programs).run(CaseView({"system_volts": 12}))
    assert [one.rule for one in fired] == ["makes-a", "makes-b", "wants-any"]
    assert fired[2].facts == ("a", "b")


def test_a_firing_names_the_findings_and_conclusions_it_rests_on(
    make_base: Callable[..., Any],
) -> None:
    """A firing lists each finding that matched, of several tests, and the conclusions wanted."""
    rules, programs = make_base({
        "makes": ("traps", [{"check": "relay-click", "outcome": "heard"}], ["clicked"]),
        "wants": ("traps", [{"concluded": "clicked"}, {"check": "fuse-look", "given": True}], []),
    })  # fmt: skip
    view = CaseView({}, (
        FindingView(0, "fuse-look", "intact"), FindingView(1, "relay-click", "heard"),
        FindingView(2, "relay-click", "not-heard"), FindingView(3, "relay-click", "heard"),
    ))  # fmt: skip
    assert RuleSet(rules, programs).run(view) == [
        Firing("makes", (1, 3), (), ("clicked",)),
        Firing("wants", (0,), ("clicked",)),
    ]


def test_not_known_meets_no_test_but_its_own(make_base: Callable[..., Any]) -> None:
    """A check that was asked without an answer is not a finding that rules reason on."""
    rules, programs = make_base({
        "any": ("traps", [{"check": "relay-click", "given": True}], []),
        "itself": ("traps", [{"check": "relay-click", "outcome": "not-known"}], []),
        "none": ("traps", [{"check": "relay-click", "given": False}], []),
    })  # fmt: skip
    fired = RuleSet(rules, programs).run(
        CaseView({}, (FindingView(0, "relay-click", "not-known"),))
    )
    assert [one.rule for one in fired] == ["itself", "none"]


@pytest.mark.parametrize("family", items.FAMILIES)
def test_every_family_has_its_stage(knowledge: Knowledge, family: str) -> None:
    """Scope, traps and context come before the beliefs, proofs, chains and cautions after."""
    stages = {rule.stage for rule in knowledge.rules.values() if rule.family == family}
    late = {"proofs": "prove", "chains": "conclude", "cautions": "conclude"}
    assert stages == {late.get(family, "qualify")}
