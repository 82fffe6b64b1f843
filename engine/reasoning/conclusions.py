"""What the rules conclude once the beliefs are known: proofs, chains, cautions, what to ask first.

Ids and numbers only; engine.answer finds the words.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain

from engine.knowledge import Knowledge
from engine.knowledge.rule_language import Action
from engine.reasoning.belief import Belief
from engine.reasoning.effects import Effects, findings_behind
from engine.rules.cautions import killers_first
from engine.rules.compile import Firing, RuleSet, concluded
from engine.rules.views import CaseView

CLEARED_BELOW = 0.01


@dataclass(frozen=True)
class Proof:
    """Causes that findings prove good, and by what."""

    rule: str
    says: str
    next: str
    findings: tuple[int, ...] = field(metadata={"key": "from"})
    clears: tuple[str, ...]


@dataclass(frozen=True)
class Chain:
    """What a rule says lies behind some causes, and the checks before their part is replaced."""

    rule: str
    causes: tuple[str, ...]
    roots: tuple[str, ...]
    before: tuple[str, ...]


@dataclass(frozen=True)
class Preference:
    """A check that a rule puts before the others, ``always`` or if it is nearly as good."""

    check: str
    always: bool


@dataclass(frozen=True)
class Conclusions:
    """The rules that fired at last, the case as they saw it, and what follows."""

    firings: tuple[Firing, ...]
    view: CaseView
    proofs: tuple[Proof, ...] = ()
    chains: tuple[Chain, ...] = ()
    cautions: tuple[str, ...] = ()  # rules; what a finding raised comes first, then what kills
    preferred: tuple[Preference, ...] = ()
    forbidden: frozenset[str] = frozenset()  # hazards that are ruled out as things stand
    excepted: frozenset[str] = frozenset()  # checks that stand although their hazard is ruled out


def conclude(  # noqa: PLR0913, PLR0917 - what the rules rest on, from one caller
    knowledge: Knowledge, rule_sets: Mapping[str, RuleSet], case: CaseView,
    firings: Sequence[Firing], effects: Effects, belief: Belief,
) -> Conclusions:  # fmt: skip
    """Run the rules that know the beliefs and collect what all that fired have to say."""
    beliefs = dict(zip(belief.model.causes, belief.causes.tolist(), strict=True))
    view = case.with_beliefs(beliefs)
    leader = belief.model.causes[belief.order[0]]
    yielding = {name for name in rule_sets["prove"].names if leader in _cleared(knowledge, name)}
    fired = (*firings, *late_firings(rule_sets, view, firings, effects, yielding))
    acts = [(one, act) for one in fired for act in knowledge.programs[one.rule].actions]
    bans = [act for _, act in acts if act.kind == "forbid"]
    return Conclusions(
        fired, view,
        proofs=tuple(_proofs(knowledge, fired, beliefs)),
        chains=tuple(
            Chain(one.rule, act.about, act.roots, act.before)
            for one, act in acts if act.kind == "look_behind"
        ),
        cautions=_cautions(knowledge, fired),
        preferred=tuple(
            Preference(check, knowledge.rules[one.rule].family == "chains")
            for one, act in acts if act.kind == "ask_first" for check in act.about
        ),
        forbidden=frozenset(chain.from_iterable(act.about for act in bans)),
        excepted=frozenset(chain.from_iterable(act.before for act in bans)),
    )  # fmt: skip


def late_firings(
    rule_sets: Mapping[str, RuleSet], view: CaseView, first: Sequence[Firing], effects: Effects,
    yielding: Collection[str] = (),
) -> list[Firing]:  # fmt: skip
    """Run the rules that know the beliefs. Proofs rest on findings that count in full.

    The ``yielding`` proofs, those that would clear what leads, give way to the belief, and so does
    all that rests on them.
    """
    known = concluded(first)
    shares = effects.shares
    full = tuple(found for found in view.findings if shares.get(found.index, 1.0) == 1.0)
    proved = [
        one for one in rule_sets["prove"].run(replace(view, findings=full), known)
        if one.rule not in yielding
    ]  # fmt: skip
    known |= concluded(proved)
    return [*proved, *rule_sets["conclude"].run(view, known)]


def _cleared(knowledge: Knowledge, rule: str) -> list[str]:
    """Return the causes that a rule clears."""
    acts: Sequence[Action] = knowledge.programs[rule].actions
    return [cause for act in acts if act.kind == "clears" for cause in act.about]


def _proofs(
    knowledge: Knowledge, firings: Sequence[Firing], beliefs: Mapping[str, float]
) -> list[Proof]:
    """Return what the findings prove good.

    A cause that other findings still speak for is not called cleared, whatever the rule says.
    """
    found = []
    for firing in firings:
        clears = tuple(
            cause for cause in _cleared(knowledge, firing.rule)
            if beliefs.get(cause, 1.0) < CLEARED_BELOW
        )  # fmt: skip
        if clears:
            because = knowledge.rules[firing.rule].because
            found.append(Proof(firing.rule, because.why, because.next, firing.findings, clears))
    return found


def _cautions(knowledge: Knowledge, firings: Sequence[Firing]) -> tuple[str, ...]:
    raised = [one for one in firings if knowledge.rules[one.rule].family == "cautions"]
    place = killers_first(knowledge)
    raised.sort(key=lambda one: (not findings_behind(firings, one), place(one.rule)))
    return tuple(firing.rule for firing in raised)
