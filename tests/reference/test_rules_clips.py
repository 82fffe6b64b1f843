"""The rules against CLIPS: on the same facts the same rules fire, conclude and set aside."""

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from engine import Diagnoser, Knowledge
from engine.knowledge.items import Rule
from engine.knowledge.text import load_yaml
from engine.physics.model import HEALTHY, ModelStore
from engine.reasoning.observe import case_view, observe
from engine.reasoning.request import read_request
from tests.reference.clips_export import walk
from tests.reference.rule_facts import Case, Drawer
from tests.reference.rule_runs import Clips, Engine, Outcome, case_of, is_about_step
from tests.sweeps import swept

CASE_FILES = sorted((Path(__file__).parents[1] / "cases" / "rules").glob("*.yaml"))
BLIND = 50
EVERY = 20
LEAST_SHARE_FIRED = 0.97

Figure = Callable[[str], None]
Sized = Callable[[int], int]


@dataclass
class Compared:
    """What the two made of many cases: rules fired by either, seconds taken by each."""

    knowledge: Knowledge
    engine: Engine
    clips: Clips
    fired: set[str]
    cases: int = 0
    discounts: int = 0
    seconds_engine: float = 0.0
    seconds_clips: float = 0.0

    def compare(self, case: Case, name: str) -> Outcome:
        """Run a case through both; fails where they differ. Returns what CLIPS made of it."""
        start = time.perf_counter()
        ours, cautions = self.engine.run(case)
        middle = time.perf_counter()
        theirs = self.clips.run(case)
        self.seconds_engine += middle - start
        self.seconds_clips += time.perf_counter() - middle
        rules = self.knowledge.rules
        step = {one for one in theirs.fired if is_about_step(rules[one])}
        texts = [f"{rules[one].because.found} {rules[one].because.next}" for one in step]
        assert ours.fired == theirs.fired - step, f"{name}: {ours.fired ^ theirs.fired} {case}"
        assert sorted(cautions) == sorted(texts), f"{name}: cautions of the step {case}"
        assert ours.concluded == theirs.concluded, f"{name}: {case}"
        assert ours.discounts == theirs.discounts, f"{name}: {ours.discounts ^ theirs.discounts}"
        self.fired |= theirs.fired
        self.cases, self.discounts = self.cases + 1, self.discounts + len(theirs.discounts)
        return theirs

    def __str__(self) -> str:
        share = f"{len(self.fired)} of {len(self.knowledge.rules)} rules fired at least once"
        each = [1e3 * one / self.cases for one in (self.seconds_engine, self.seconds_clips)]
        return (
            f"{self.cases} cases, {share}, {self.discounts} findings set aside or weakened; "
            f"engine {each[0]:.2f} ms a case, CLIPS {each[1]:.2f} ms, ratio {each[0] / each[1]:.1f}"
        )


@pytest.fixture(scope="module")
def both(diagnoser: Diagnoser) -> tuple[Engine, Clips]:
    """Give both rule engines, built."""
    engine, other, empty = Engine(diagnoser), Clips(diagnoser.knowledge), Case({"system_volts": 12})
    engine.run(empty)
    other.run(empty)
    return engine, other


@pytest.fixture
def compared(knowledge: Knowledge, both: tuple[Engine, Clips]) -> Compared:
    """Give an empty comparison."""
    return Compared(knowledge, *both, fired=set())


def test_random_facts(compared: Compared, enlarged: Sized, figure: Figure) -> None:
    """On random facts both fire the same rules, conclude and set aside the same."""
    knowledge = compared.knowledge
    drawer = Drawer(knowledge, seed=31)
    for number in range(enlarged(BLIND)):
        compared.compare(drawer.blind(), f"blind {number}")
    for name, rule in knowledge.rules.items():
        for _ in range(enlarged(1)):
            compared.compare(drawer.meeting(rule), name)
    assert compared.cases >= BLIND + len(knowledge.rules)
    assert compared.discounts > 100
    assert len(compared.fired) >= LEAST_SHARE_FIRED * len(knowledge.rules)
    figure(str(compared))


@dataclass(frozen=True)
class Stated:
    """One case of a rule's case file: the facts (of each side), and whether the rule must fire."""

    rule: str
    fires: bool
    because: str
    of_step: bool  # asked for one step: only the cautions about steps count
    cases: tuple[Case, ...]

    def agrees(self, outcomes: Sequence[Outcome], rule: Rule) -> bool:
        """Return whether the rule fired as the case says."""
        fired = any(self.rule in one.fired for one in outcomes)
        return (fired and is_about_step(rule) >= self.of_step) == self.fires


def _of_each_side(raw: Mapping[str, Any], knowledge: Knowledge) -> Iterator[dict[str, Any]]:
    """Yield the request as it concerns each of two brake solenoids that findings name."""
    findings = raw["findings"]
    sides = {one["side"] for one in findings if "side" in one}
    for side in sorted(sides) or [None]:
        kept = [
            one
            for one in findings
            if side is None or one.get("side") in (None, side)
            or knowledge.checks[one["check"]].shared_between_sides
        ]  # fmt: skip
        yield {**raw, "findings": kept}


class Reader:
    """Makes cases of the rules' case files: facts as the engine would show them to its rules."""

    def __init__(self, diagnoser: Diagnoser) -> None:
        self._diagnoser = diagnoser
        self._knowledge = diagnoser.knowledge
        # a verdict is about the healthy circuit: no other cause need be solved for it
        causes = {HEALTHY: self._knowledge.causes[HEALTHY]}
        self._models = ModelStore(replace(self._knowledge, causes=causes))
        self._with_beliefs = {
            name
            for name, rule in self._knowledge.rules.items()
            if "cause" in {key for raw, _ in walk(rule.when) for key in raw}
        }

    def stated(self, path: Path) -> Iterator[Stated]:
        """Yield the cases of a file."""
        content = load_yaml(path.read_text(encoding="utf-8"), path.name)
        for kind in ("fires", "silent"):
            for body in content[kind]:
                sides = _of_each_side(body["request"], self._knowledge)
                cases = [self._case(content["rule"], {**body, "request": one}) for one in sides]
                fires, of_step = kind == "fires", "step" in body
                yield Stated(content["rule"], fires, body["because"], of_step, tuple(cases))

    def _case(self, rule: str, body: Mapping[str, Any]) -> Case:
        request = self._diagnoser.settled(read_request(body["request"], self._knowledge)).request
        model = self._models.get(request.machine)
        view = case_view(request, [observe(model, one) for one in request.findings])
        beliefs = body.get("beliefs")
        if beliefs is None and rule in self._with_beliefs:
            belief = self._diagnoser.belief(request)
            beliefs = dict(zip(belief.model.causes, belief.causes.tolist(), strict=True))
        return case_of(view, beliefs or {}, set(body.get("step", ())))


def test_case_files(
    compared: Compared, diagnoser: Diagnoser, enlarged: Sized, figure: Figure
) -> None:
    """On the rules' own cases both agree, and CLIPS too fires each rule where its case says so.

    Of every twentieth rule, of all when enlarged; what the engine's rules do on all of them stands
    in tests/rules/test_rule_cases.py.
    """
    reader = Reader(diagnoser)
    as_stated: set[str] = set()
    paths = swept(CASE_FILES[:: max(1, EVERY // enlarged(1))], 2)
    for path in paths:
        for stated in reader.stated(path):
            name = f"{stated.rule}: {stated.because}"
            outcomes = [compared.compare(case, name) for case in stated.cases]
            assert stated.agrees(outcomes, compared.knowledge.rules[stated.rule]), name
            as_stated |= {stated.rule} if stated.fires else set()
    assert as_stated == {path.stem for path in paths} <= set(compared.knowledge.rules)
    figure(str(compared))
