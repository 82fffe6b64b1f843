"""Layers keep ``not_concluded`` apart from the order of firing; a base without layers is refused.

Random small bases, with conclusions wanted and denied at any depth of any, all and none, are run
compiled and plain: both must say the same, or both must refuse the base.
"""

import random
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from engine.diagnosis import shipped
from engine.knowledge import Knowledge
from engine.knowledge.rule_language import ConcludedTest
from engine.knowledge.rule_layers import NegationCycleError, layers
from engine.rules.compile import RuleSet
from engine.rules.views import CaseView, FindingView
from tests.sweeps import WHOLE

WHEN_12 = {"machine": "system_volts", "is": 12}
FACTS = ("a", "b", "c", "d", "e")
OUTCOMES = ("heard", "not-heard")


def test_a_denied_fact_is_settled_first(make_base: Callable[..., Any]) -> None:
    """A rule that denies a fact runs above every rule that can conclude it, through chains too."""
    rules, programs = make_base({
        "a-denier": ("traps", [{"not_concluded": "late"}], ["quiet"]),
        "z-maker": ("traps", [{"concluded": "early"}], ["late"]),
        "z-root": ("traps", [WHEN_12], ["early"]),
    })  # fmt: skip
    order = layers(rules, programs)
    assert order["a-denier"] > order["z-maker"] >= order["z-root"]
    fired = RuleSet(rules, programs).run(CaseView({"system_volts": 12}))
    assert [one.rule for one in fired] == ["z-maker", "z-root"]
    assert RuleSet(rules, programs).run(CaseView({"system_volts": 24}))[0].rule == "a-denier"


def test_none_of_a_fact_is_a_denial(make_base: Callable[..., Any]) -> None:
    """``none`` around a conclusion denies it, and ``none`` of a denial wants it."""
    rules, programs = make_base({
        "denier": ("traps", [{"none": [{"all": [{"concluded": "x"}]}]}], []),
        "wanter": ("traps", [{"none": [{"not_concluded": "x"}]}], []),
        "maker": ("traps", [WHEN_12], ["x"]),
    })  # fmt: skip
    order = layers(rules, programs)
    assert order["denier"] > order["maker"]
    assert order["wanter"] == order["maker"]


@pytest.mark.parametrize(
    "raw",
    [
        {"one": ("traps", [{"not_concluded": "x"}], ["x"])},
        {
            "one": ("traps", [{"not_concluded": "x"}], ["y"]),
            "two": ("traps", [{"concluded": "y"}], ["x"]),
        },
        {
            "one": ("chains", [{"any": [WHEN_12, {"none": [{"concluded": "x"}]}]}], ["y"]),
            "two": ("chains", [{"concluded": "y"}], ["z"]),
            "three": ("chains", [{"concluded": "z"}], ["x"]),
        },
    ],
    ids=["itself", "through-another", "through-two"],
)
def test_a_denial_that_leads_back_is_refused(
    raw: Mapping[str, Any], make_base: Callable[..., Any]
) -> None:
    """A rule whose conclusion can undo its own condition cannot be put in a layer."""
    with pytest.raises(NegationCycleError, match="not_concluded leads back") as caught:
        RuleSet(*make_base(raw))
    assert caught.value.rule == "one"


def test_the_rule_named_is_the_one_that_denies(make_base: Callable[..., Any]) -> None:
    """A rule that only hangs on the bad one is not blamed, be it in a later stage."""
    rules, programs = make_base({
        "a-after": ("chains", [{"concluded": "x"}, {"not_concluded": "y"}], ["z"]),
        "the-bad-one": ("traps", [{"not_concluded": "x"}], ["x"]),
        "z-after": ("traps", [{"not_concluded": "x"}], ["y"]),
    })  # fmt: skip
    with pytest.raises(NegationCycleError) as caught:
        layers(rules, programs)
    assert caught.value.rule == "the-bad-one"


def test_rules_may_want_each_other(make_base: Callable[..., Any]) -> None:
    """Conclusions that lead to each other without a denial are no cycle, and none starts itself."""
    rules, programs = make_base({
        "one": ("traps", [{"concluded": "x"}], ["y"]),
        "two": ("traps", [{"any": [{"concluded": "y"}, WHEN_12]}], ["x"]),
    })  # fmt: skip
    run = RuleSet(rules, programs).run
    assert [one.rule for one in run(CaseView({"system_volts": 12}))] == ["one", "two"]
    assert run(CaseView({"system_volts": 24})) == []


def random_condition(rng: random.Random, depth: int) -> dict[str, Any]:
    """Return a condition, nested at most ``depth`` deep."""
    if depth and rng.random() < 0.45:
        kind = rng.choice(("any", "all", "none"))
        return {kind: [random_condition(rng, depth - 1) for _ in range(rng.randint(1, 3))]}
    return rng.choice((
        {"concluded": rng.choice(FACTS)},
        {"not_concluded": rng.choice(FACTS)},
        {"machine": "system_volts", "is": rng.choice((12, 24))},
        {"check": "relay-click", "outcome": rng.choice(OUTCOMES)},
        {"checks": ["relay-click", "fuse-look"], "in": ["heard", "intact"]},
        {"check": "fuse-look", "given": rng.random() < 0.5},
    ))  # fmt: skip


def random_base(rng: random.Random) -> dict[str, Any]:
    """Return a base of three to eight rules as raw data."""
    return {
        f"rule-{number}": (
            "traps",
            [random_condition(rng, 3) for _ in range(rng.randint(1, 3))],
            rng.sample(FACTS, k=rng.randint(0, 2)),
        )
        for number in range(rng.randint(3, 8))
    }


def random_view(rng: random.Random) -> CaseView:
    """Return a case that the rules of a random base may care about."""
    said = [("relay-click", one) for one in OUTCOMES] + [("fuse-look", "intact")]
    chosen = rng.sample(said, k=rng.randint(0, 3))
    findings = tuple(FindingView(n, check, one) for n, (check, one) in enumerate(chosen))
    return CaseView({"system_volts": rng.choice((12, 24))}, findings)


def test_random_bases_fire_as_a_plain_evaluation_says(
    make_base: Callable[..., Any], plain: Callable[..., set[str]]
) -> None:
    """Whatever nesting a rule has, compiled and plain evaluation agree on which rules fire."""
    rng = random.Random(20)  # noqa: S311 - no secret
    ran = refused = fired = 0
    bases = 120 if WHOLE else 30
    while ran < bases:
        rules, programs = make_base(random_base(rng))
        try:
            compiled = RuleSet(rules, programs)
        except NegationCycleError:
            refused += 1
            continue
        ran += 1
        for _ in range(6):
            view, given = random_view(rng), frozenset(rng.sample(FACTS, k=rng.randint(0, 2)))
            names = {one.rule for one in compiled.run(view, given)}
            assert names == plain(rules, programs, view, given), (rules, view, given)
            fired += len(names)
    assert refused > bases // 12
    assert fired > 4 * bases


def test_no_shipped_fact_is_made_and_denied_in_one_layer(knowledge: Knowledge) -> None:
    """In the shipped base every rule that denies a fact stands above all that conclude it."""
    order = layers(knowledge.rules, knowledge.programs)
    denials = 0
    for name, program in knowledge.programs.items():
        denied = {one.fact for one in program.walk()
                  if isinstance(one, ConcludedTest) and not one.wanted}  # fmt: skip
        for maker, other in knowledge.programs.items():
            made = {f for one in other.actions if one.kind == "conclude" for f in one.about}
            if made & denied:
                assert order[name] > order[maker], (name, maker)
                denials += 1
    assert denials > 0


def test_long_chains_are_in_the_trace() -> None:
    """A dead short behind a fresh fuse leads over three conclusions to a caution, step by step."""
    answer = shipped().diagnose({
        "machine": {"duty": "fuel-shutoff", "control": "controller-on-crank",
                    "coil": "case-ground"},
        "findings": [
            {"check": "fuse-after-replacement", "outcome": "blows-at-once"},
            {"check": "harness-pull-to-ground-ohms", "outcome": "open"},
        ],
    })  # fmt: skip
    made: dict[str, int] = {}
    longest = 0
    for entry in answer["trace"]:
        depth = 1 + max((made[fact] for fact in entry["facts"]), default=0)
        made |= dict.fromkeys(entry["concluded"], depth)
        longest = max(longest, depth)
    assert longest >= 4
    assert {"dead-short-behind-fuse", "short-is-in-the-part"} <= set(made)
