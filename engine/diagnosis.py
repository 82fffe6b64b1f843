"""The one public entry: a request in, a diagnosis out. Pure: the same request, the same answer.

A request becomes observations, each with its prediction and verdict. Rules say what counts, what
shifts and what is out of scope (effects); prior times likelihood gives the belief; rules that know
the beliefs conclude proofs, chains and cautions; the planner says what to do next; and the answer
puts all of it into words.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from engine.answer import explain
from engine.answer.answer import Answer
from engine.knowledge import Knowledge, load_knowledge
from engine.knowledge.items import BUILDS
from engine.physics.model import ModelStore
from engine.reasoning.advice import Advisers, Meaning
from engine.reasoning.belief import Belief, believe, fit_of
from engine.reasoning.conclusions import Conclusions, conclude
from engine.reasoning.effects import Effects, effects_of, superseded
from engine.reasoning.observe import Observation, case_view, observe
from engine.reasoning.pairs import weigh_pairs
from engine.reasoning.request import Request, read_request
from engine.rules.cautions import Cautions
from engine.rules.compile import Firing, RuleSet, rule_sets
from engine.rules.views import CaseView

BUILD_SURE = 0.85  # judgement: from here on the readings are taken to tell how it is built


@dataclass(frozen=True)
class Believed:
    """A request, what was observed, the case and the rules that qualify it, and the belief."""

    request: Request
    observations: Sequence[Observation]
    case: CaseView
    firings: tuple[Firing, ...]
    effects: Effects
    belief: Belief


class Diagnoser:
    """Diagnoses requests with one knowledge base; safe to share between threads."""

    def __init__(
        self, knowledge: Knowledge, models: ModelStore | None = None,
        rules: Mapping[str, RuleSet] | None = None,
    ) -> None:  # fmt: skip
        """Make ready to diagnose; ``models`` in place of a store with the usual bounds, ``rules``
        where those of this knowledge are compiled already."""
        self.knowledge = knowledge
        self.models = models or ModelStore(knowledge)
        self.cautions = Cautions(knowledge)
        self.rule_sets = rules or rule_sets(knowledge, self.cautions.step_rules)
        self.advisers = Advisers(knowledge, self.rule_sets["qualify"])

    def with_shares_of(self, knowledge: Knowledge) -> "Diagnoser":
        """Return a diagnoser for knowledge that differs in its shares alone (learning).

        The machines that this one has solved need not be solved again, and its rules are the same.
        """
        return Diagnoser(knowledge, self.models.with_shares_of(knowledge), self.rule_sets)

    def diagnose(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Return the diagnosis of a request (the contract's request and answer as plain data).

        Raises RequestError carrying every fault of the request with its path.
        """
        return self.answer(read_request(request, self.knowledge)).to_dict()

    def answer(self, request: Request) -> Answer:
        """Return the diagnosis of a request. Every diagnosis goes through here, once.

        Each of two brake solenoids is diagnosed by itself; the top of the answer is about the side
        that was named first, and nothing is left out below.
        """
        sides = _sides(request)
        if not sides:
            return self._answer(self.settled(request))
        answers = {
            side: self._answer(self.settled(self._of_side(request, side))) for side in sorted(sides)
        }
        return replace(answers[sides[0]], side=sides[0], sides=answers)

    def belief(self, request: Request, side: str | None = None) -> Belief:
        """Return the belief of a request, of one side where it names sides, without explaining."""
        asked = self._of_side(request, side) if side else request
        return self.settled(asked).belief

    def conclusions(self, request: Request) -> tuple[Conclusions, ...]:
        """Return what the rules conclude, for each side that is named, without planning."""
        asked = [self._of_side(request, side) for side in _sides(request)] or [request]
        return tuple(self._concluded(self.settled(one)) for one in asked)

    def meanings(self, belief: Belief, check: str) -> tuple[Meaning, ...]:
        """Return what each result of any check would mean, given an answer's belief.

        Raises KeyError for a check that the machine cannot have.
        """
        return self.advisers.of(belief.model).meanings(belief, check)

    def settled(self, request: Request) -> Believed:
        """Return what is believed, the machine built as the readings tell it where they do."""
        found = self._believed(request)
        told: dict[str, Any] = {}
        belief = found.belief
        for name in BUILDS:
            if getattr(request.machine, name) != "unknown":
                continue
            other = np.array([name in one.otherwise for one in belief.model.variants])
            share = float(belief.hypotheses[other[belief.model.variant_of]].sum())
            if not 1 - BUILD_SURE < share < BUILD_SURE:
                told[name] = BUILDS[name][share > 0.5]
        if not told:
            return found
        return self._believed(replace(request, machine=replace(request.machine, **told)))

    def _believed(self, request: Request) -> Believed:
        model = self.models.get(request.machine)
        observations = [observe(model, finding) for finding in request.findings]
        case = case_view(request, observations)
        older = superseded(model, observations, request.done)
        counted = case.but({one.finding for one in older})
        firings = tuple(self.rule_sets["qualify"].run(counted))
        effects = effects_of(self.knowledge, counted, firings).after(request, older)
        belief = believe(model, observations, effects)
        return Believed(request, observations, case, firings, effects, belief)

    def _answer(self, found: Believed) -> Answer:
        knowledge, belief, model = self.knowledge, found.belief, found.belief.model
        conclusions, fit = self._concluded(found), fit_of(belief)
        two = None if fit.verdict == "good" else weigh_pairs(knowledge, belief, found.observations)
        separator = two.pairs[0].told_apart_by if two and two.pairs else None
        plan = self.advisers.of(model).plan(
            found.request, belief, found.effects, conclusions, separator
        )
        return explain.answer(explain.Scene(
            knowledge, self.cautions, found.request, model, found.observations, found.effects,
            belief, conclusions, plan, fit, two,
        ))  # fmt: skip

    def _concluded(self, found: Believed) -> Conclusions:
        return conclude(
            self.knowledge, self.rule_sets, found.case, found.firings, found.effects, found.belief
        )

    def _of_side(self, request: Request, side: str) -> Request:
        """Return the request as it concerns one of two brake solenoids.

        What was found on the other one does not enter, unless the check reads what both share.
        """
        kept = [
            finding
            for finding in request.findings
            if finding.side in (None, side)
            or self.knowledge.checks[finding.check].shared_between_sides
        ]
        return replace(request, findings=tuple(kept))


def _sides(request: Request) -> list[str]:
    """Return the sides of two brake solenoids that findings name, in their order."""
    return list(dict.fromkeys(one.side for one in request.findings if one.side))


@lru_cache(maxsize=1)
def shipped_knowledge() -> Knowledge:
    """Return the shipped knowledge base, read once a process."""
    return load_knowledge()


@lru_cache(maxsize=1)
def shipped() -> Diagnoser:
    """Return the diagnoser of the shipped knowledge base, built once a process."""
    return Diagnoser(shipped_knowledge())


def diagnoser_of(knowledge: Knowledge) -> Diagnoser:
    """Return a diagnoser of a knowledge base; of the shipped one the one that there is."""
    return shipped() if knowledge is shipped_knowledge() else Diagnoser(knowledge)


def diagnose(request: Mapping[str, Any]) -> dict[str, Any]:
    """Diagnose with the shipped knowledge base. Raises RequestError for a bad request."""
    return shipped().diagnose(request)
