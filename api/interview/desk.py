"""What the interview asks the engine: answers, how a check is done here, what is ruled out."""

import json
from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import Any

from api.answers.finding_words import named
from api.interview.state import Inquiry
from api.strict_json import Json
from engine import Diagnoser, Knowledge
from engine.answer import explain
from engine.answer.documents import plain
from engine.knowledge import items
from engine.knowledge.rule_language import Action, StepTest
from engine.physics.model import Model
from engine.reasoning.observe import case_view, observe
from engine.reasoning.request import LAY, read_request
from engine.rules.cautions import caution_text, check_hazards
from engine.rules.views import CaseView

KEPT_ANSWERS = 200


class Desk:
    """The engine as one interview or page uses it; what was asked before is not asked again."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        self.diagnoser = diagnoser
        self.knowledge: Knowledge = diagnoser.knowledge
        self._diagnosed = lru_cache(KEPT_ANSWERS)(lambda text: diagnoser.diagnose(json.loads(text)))
        self._seen = lru_cache(KEPT_ANSWERS)(self._see)

    def answer(self, inquiry: Inquiry) -> Json:
        """Return the diagnosis of the side looked at. Raises RequestError for a bad case."""
        return inquiry.answer if inquiry.answer is not None else self.diagnose(inquiry.request())

    def diagnose(self, request: Json) -> dict[str, Any]:
        """Return the diagnosis of a request. Raises RequestError."""
        return self._diagnosed(json.dumps(request, sort_keys=True))

    def name(self, wanted: str) -> str:
        """Return the name of a check or cause."""
        return named(wanted, self.knowledge)

    def sided(self, finding: Json, side: str | None) -> Json:
        """Return a finding of one of two solenoids, unless its check concerns both."""
        check = self.knowledge.checks.get(finding.get("check", ""))
        both = check is not None and check.shared_between_sides
        return finding if both or not side else {"side": side, **finding}

    def checks(self, inquiry: Inquiry) -> list[str]:
        """Return the checks that the machine can have."""
        return list(self._model(inquiry).predictions)

    def step(self, inquiry: Inquiry, name: str) -> Json:
        """Return how a check is done here, its cautions and what causes would make it read."""
        answer = self.answer(inquiry)
        for proposed in (*answer["next_checks"], *answer.get("further_checks", ())):
            if proposed["check"] == name:
                return dict(proposed)
        model, view = self._stands(inquiry)
        leading = [one["id"] for one in answer["causes"]]
        step = explain.step_of(model, self.diagnoser.cautions, view, name, leading)
        found: Json = plain(step)
        return found

    def provoked(self, inquiry: Inquiry, name: str) -> str | None:
        """Return what a check's step asks to be done to bring the fault on, if anything."""
        return self.step(inquiry, name).get("while")

    def meanings(self, inquiry: Inquiry, name: str) -> Sequence[Json]:
        """Return what each result of a check would mean; a step that is proposed has it already."""
        told: Sequence[Json] = self.step(inquiry, name)["meanings"]
        if told:
            return told
        request = read_request(inquiry.request(), self.knowledge)
        belief = self.diagnoser.belief(request, inquiry.side)
        return [plain(one) for one in self.diagnoser.meanings(belief, name)]

    def ruled_out(self, inquiry: Inquiry, name: str) -> bool:
        """Return whether a caution rules the check out as things stand, and none excepts it."""
        bans = self.bans(inquiry)
        if not bans or any(name in act.before for act in bans):
            return False
        variants = self._model(inquiry).variants
        hazards = check_hazards(self.knowledge.checks[name], variants)
        return any(hazards.intersection(act.about) for act in bans)

    def bans(self, inquiry: Inquiry) -> Sequence[Action]:
        """Return what cautions rule out as things stand: nothing while every step is safe."""
        fired = [self.knowledge.programs[row["rule"]] for row in self.answer(inquiry)["trace"]]
        return [act for one in fired for act in one.actions if act.kind == "forbid"]

    def barred(self, inquiry: Inquiry, name: str) -> bool:
        """Return whether whoever is there is not to do a check: ruled out, or not for lay hands."""
        return self.ruled_out(inquiry, name) or self.not_for_lay(inquiry, name)

    def not_for_lay(self, inquiry: Inquiry, name: str) -> bool:
        """Return whether a lay caller does the steps and is never sent to this check."""
        lay = inquiry.fields.get("skill") == LAY
        return lay and self.diagnoser.advisers.of(self._model(inquiry)).for_trained_hands(name)

    def gravity(self, caution: str) -> tuple[float, int]:
        """Return what orders the cautions of a step: what their danger weighs, most first, those
        kept from untrained hands before all.

        Of two that weigh the same the shorter comes first, so that more of them stand in full.
        """
        return -self._weights.get(caution, -1.0), len(caution)

    @cached_property
    def _weights(self) -> dict[str, float]:
        """Return the minutes that the dangers weigh which keep a step from untrained hands."""
        effort, trained = (self.knowledge.rows(one) for one in ("effort", "trained-hands"))

        def weight(rule: items.Rule) -> float:
            tests = self.knowledge.programs[rule.id].walk()
            found = {one.hazard for one in tests if isinstance(one, StepTest)} & trained.keys()
            minutes = (float(effort.get(one, {}).get("minutes", 0.0)) for one in found)
            return max(minutes, default=-1.0)

        return {caution_text(one): weight(one) for one in self.knowledge.rules.values()
                if one.family == "cautions"}  # fmt: skip

    def at_moment(self, inquiry: Inquiry, outcome: str) -> list[str]:
        """Return the control types of the duty that pull at the moment an outcome names."""
        return [
            circuit.control
            for circuit in self.knowledge.circuits.values()
            if circuit.duty == inquiry.fields["duty"]
            and f"at-{circuit.phases['on-command'].moment}" == outcome
        ]

    def _model(self, inquiry: Inquiry) -> Model:
        bare = {"machine": inquiry.case.machine, "findings": []}
        return self.diagnoser.models.get(read_request(bare, self.knowledge).machine)

    def _stands(self, inquiry: Inquiry) -> tuple[Model, CaseView]:
        model, view = self._seen(json.dumps(inquiry.request(), sort_keys=True))
        return model, view.with_beliefs(probabilities(self.answer(inquiry)))

    def _see(self, request: str) -> tuple[Model, CaseView]:
        asked = read_request(json.loads(request), self.knowledge)
        model = self.diagnoser.models.get(asked.machine)
        return model, case_view(asked, [observe(model, one) for one in asked.findings])


def probabilities(answer: Json) -> dict[str, float]:
    """Return the belief in each cause."""
    return {one["id"]: float(one["probability"]) for one in answer["causes"]}


def lead(answer: Json) -> Json:
    """Return the most probable cause."""
    found: Json = answer["causes"][0]
    return found
