"""What the interview asks the engine: answers, how a check is done here, what is ruled out."""

import json
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from api.interview.state import Inquiry
from engine import Diagnoser, Knowledge
from engine.answer import explain, words
from engine.knowledge import items
from engine.physics.conditions import MeasurementConditions
from engine.physics.model import HEALTHY, NO_REPAIR, Model
from engine.physics.prediction import OutcomePrediction
from engine.reasoning.observe import case_view, observe
from engine.reasoning.request import Request, read_request
from engine.rules.cautions import check_hazards
from engine.rules.views import CaseView

Answer = Mapping[str, Any]

KEPT_ANSWERS = 200
LEADING = 3  # causes that a check's expected readings are shown for


class Desk:
    """The engine as the interview uses it."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        self.diagnoser = diagnoser
        self.knowledge: Knowledge = diagnoser.knowledge

    def answer(self, inquiry: Inquiry) -> Answer:
        """Return the diagnosis of the side looked at. Raises RequestError for a bad case."""
        kept = inquiry.answer
        return kept if kept is not None else self.diagnose(inquiry.request())

    def diagnose(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Return the diagnosis of a request. Raises RequestError."""
        return self.diagnoser.diagnose(request)

    def name(self, wanted: str) -> str:
        """Return the name of a check or cause."""
        known: Mapping[str, Any] = {**self.knowledge.causes, **self.knowledge.checks}
        return str(known[wanted].name) if wanted in known else wanted.replace("-", " ")

    def checks(self, case: Inquiry) -> list[str]:
        """Return the checks that the machine can have."""
        return list(self._model(case.request()).predictions)

    def step(self, case: Inquiry, name: str) -> Mapping[str, Any]:
        """Return how a check is done here, its cautions and what causes would make it read."""
        answer = self.answer(case)
        for proposed in answer["next_checks"]:
            if proposed["check"] == name:
                return dict(proposed)
        check = self.knowledge.checks[name]
        request = read_request(case.request(), self.knowledge)
        model = self.diagnoser.models.get(request.machine)
        fill = explain.placeholders(model, check)
        return {
            "check": name, "name": check.name, "kind": check.kind, "minutes": check.minutes,
            "say": check.say.format_map(fill), "how": check.how.format_map(fill),
            "why": check.why.format_map(fill), "expect": self._expect(model, name, answer),
            "cautions": self._cautions(check, request, model, answer),
        }  # fmt: skip

    def forbidden(self, answer: Answer) -> frozenset[str]:
        """Return the hazards that a caution rules out as things stand."""
        return frozenset(
            hazard
            for row in answer["trace"]
            for action in self.knowledge.programs[row["rule"]].actions
            if action.kind == "forbid"
            for hazard in action.about
        )

    def ruled_out(self, case: Inquiry, name: str) -> bool:
        """Return whether a caution rules the check out as things stand."""
        forbidden = self.forbidden(self.answer(case))
        if not forbidden:
            return False
        variants = self._model(case.request()).variants
        return bool(check_hazards(self.knowledge.checks[name], variants) & forbidden)

    def at_moment(self, case: Inquiry, outcome: str) -> list[str]:
        """Return the control types of the duty that pull at the moment an outcome names."""
        return [
            circuit.control
            for circuit in self.knowledge.circuits.values()
            if circuit.duty == case.fields["duty"]
            and f"at-{circuit.phases['on-command'].moment}" == outcome
        ]

    def _model(self, request: Mapping[str, Any]) -> Model:
        return self.diagnoser.models.get(read_request(request, self.knowledge).machine)

    def cautions(self, inquiry: Inquiry, names: Iterable[str]) -> dict[str, list[str]]:
        """Return the cautions of checks on this machine as things stand."""
        answer = self.answer(inquiry)
        request = read_request(inquiry.request(), self.knowledge)
        model = self.diagnoser.models.get(request.machine)
        view = self._view(request, model, answer)
        return {
            name: list(self.diagnoser.cautions.for_step(
                check_hazards(self.knowledge.checks[name], model.variants), view))
            for name in names
        }  # fmt: skip

    def _cautions(
        self, check: items.Check, request: Request, model: Model, answer: Answer
    ) -> list[str]:
        hazards = check_hazards(check, model.variants)
        return list(self.diagnoser.cautions.for_step(hazards, self._view(request, model, answer)))

    def _view(self, request: Request, model: Model, answer: Answer) -> CaseView:
        seen = [observe(model, one) for one in request.findings]
        return case_view(request, seen).with_beliefs(probabilities(answer))

    def _expect(self, model: Model, name: str, answer: Answer) -> list[dict[str, str]]:
        leading = [one["id"] for one in answer["causes"] if one["id"] not in NO_REPAIR]
        return [
            {"cause": cause, "reads": self._reads(model, name, cause)}
            for cause in [*leading[:LEADING], HEALTHY]
        ]

    def _reads(self, model: Model, name: str, cause: str) -> str:
        """Return in words what a check gives under a cause."""
        prediction = model.prediction(MeasurementConditions(name))
        if not isinstance(prediction, OutcomePrediction):
            return words.band_words(model.band(MeasurementConditions(name), cause))
        outcomes = self.knowledge.checks[name].outcomes
        assert outcomes is not None  # an outcome is predicted
        mine = model.cause_of == model.causes.index(cause)
        share = np.where(mine, model.prior, 0.0)
        return words.outcome_words(prediction, share / max(share.sum(), 1e-300), outcomes)


class RememberingDesk(Desk):
    """For one interview: what was asked before is not asked again, since each line asks anew."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        super().__init__(diagnoser)
        self._kept: OrderedDict[str, dict[str, Any]] = OrderedDict()

    def diagnose(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Return the diagnosis of a request, kept from the last time where it is the same."""
        key = json.dumps(request, sort_keys=True)
        if key not in self._kept:
            self._kept[key] = super().diagnose(request)
            if len(self._kept) > KEPT_ANSWERS:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        return self._kept[key]


def probabilities(answer: Answer) -> dict[str, float]:
    """Return the belief in each cause."""
    return {one["id"]: float(one["probability"]) for one in answer["causes"]}


def lead(answer: Answer) -> Mapping[str, Any]:
    """Return the most probable cause."""
    causes: Sequence[Mapping[str, Any]] = answer["causes"]
    return causes[0]


def cause_of(answer: Answer, name: str) -> Mapping[str, Any]:
    """Return the entry of a cause; the most probable one where it is not in the answer."""
    return next((one for one in answer["causes"] if one["id"] == name), lead(answer))
