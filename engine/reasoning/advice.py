"""What to do next on a machine: the planner fed with a model and what checks cost."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import groupby
from typing import NamedTuple

import numpy as np

from engine.knowledge import Knowledge, items
from engine.physics.band import Band, fine_digits, open_band, rounded
from engine.physics.circuit import Floats
from engine.physics.model import HEALTHY, NO_REPAIR, OUTSIDE, Model
from engine.physics.prediction import Forecast, OutcomePrediction, ReadingPrediction
from engine.reasoning.belief import BAD_SURPRISE, Belief
from engine.reasoning.conclusions import Conclusions
from engine.reasoning.effects import KNOWN, Effects, effects_of
from engine.reasoning.observe import case_view, observe
from engine.reasoning.planning import (
    PLAIN,
    Bounds,
    Option,
    Problem,
    clock_minutes,
    rank,
    repair_minutes,
    repair_order,
)
from engine.reasoning.request import LAY, NOT_KNOWN, Finding, Request
from engine.rules.cautions import check_hazards
from engine.rules.compile import RuleSet

MAX_PROPOSALS, LEADERS = 5, 3  # checks proposed; causes named for each result of a check
MOST_REPAIRS = 5
UNSAFE, BEYOND = "unsafe", "beyond"  # why a call is handed over though checks may tell
BY_PHONE = {"ask", "look"}  # kinds of check that a caller answers, without tools
AT_THE_PART = {"look", "try"}  # kinds of check that find a fault where it is


class Reason(NamedTuple):
    """Why a check is proposed: what it splits, what it confirms, and what it asks for.

    ``splits`` is how many of the likeliest causes it tells from the first.
    """

    splits: int = 0
    confirms: str | None = None  # the leading cause
    tells_two: bool = False  # two faults from one
    before_part: bool = False  # a rule wants it before the part is replaced
    kind: str = "ask"
    reached: bool = False
    provoke: str | None = None  # what is to bring the fault on meanwhile


class Proposal(NamedTuple):
    """A check, the minutes that it is expected to save by itself, and why it is proposed.

    ``worth`` counts a wrong repair that is spared with what the table ``effort`` sets on one
    (engine.reasoning.planning.Ranking.worth); ``saves_minutes`` is by the clock, never below 0.
    ``changes`` is the chance that it changes which repair comes first.
    """

    check: str
    saves_minutes: float
    worth: float
    changes: float = 0.0
    reason: Reason = Reason()


Ranked = tuple[tuple[Proposal, ...], float]  # checks, best plan first, and its cost in minutes


@dataclass(frozen=True)
class Limits:
    """What limits the choice: answered or dropped checks, kinds at hand, hazards ruled out."""

    left_out: frozenset[str] = frozenset()
    kinds: Sequence[str] | None = None
    forbidden: frozenset[str] = frozenset()
    excepted: frozenset[str] = frozenset()  # checks that stand although their hazard is ruled out
    again: frozenset[str] = frozenset()  # readings that were set aside: to be taken once more
    reached: frozenset[str] = frozenset()  # setups (places) that are open already
    lay: bool = False  # nothing that needs a trained hand
    provoke: str | None = None  # what brings a fault on that comes and goes

    @property
    def by_phone(self) -> bool:
        """Return whether the caller can only ask and look."""
        return self.kinds is not None and BY_PHONE.issuperset(self.kinds)


@dataclass(frozen=True)
class _Looked:
    """Checks with what each tells by itself: worked out once for all who can do some of them.

    ``joint`` as Problem.joint; ``splits`` and ``changes`` as in Adviser._split, one for each name.
    """

    belief: Belief
    names: Sequence[str]
    problem: Problem
    joint: Floats
    splits: Floats
    changes: Floats

    def saved(self, names: Iterable[str]) -> list[float]:
        """Return the minutes by the clock that checks are expected to save; below 0 they cost."""
        problem, places = self.problem, [self.names.index(one) for one in names]
        if not places:
            return []
        rows = [slice(problem.starts[n], problem.starts[n + 1]) for n in places]
        after = problem.clock(np.concatenate([self.joint[one] for one in rows]))
        starts = np.cumsum([0, *(one.stop - one.start for one in rows)])[:-1]
        spent = np.add.reduceat(after, starts) + problem.check_minutes[places]
        now = problem.clock(self.belief.known.weights @ problem.membership)
        return list((now - spent).tolist())

    @cached_property
    def ahead(self) -> Floats:
        """Return what the plan costs with each check and then repair, as Problem.one_ahead."""
        return self.problem.ahead_of(self.joint)


@dataclass(frozen=True)
class Leader:
    """A cause and its probability, if a check came out as it may."""

    cause: str
    probability: float


@dataclass(frozen=True)
class Meaning:
    """A result that a check may have, its chance, and the leading causes if it came."""

    outcome: str | None = field(default=None, metadata=KNOWN)
    reads: str | None = field(default=None, metadata=KNOWN)
    range: Band | None = field(default=None, metadata=KNOWN)
    chance: float = 0.0
    leaders: tuple[Leader, ...] = ()


@dataclass(frozen=True)
class Plan:
    """What to do: check, repair, hand-over or refer; the checks with what each result means.

    ``further`` are the checks for a trained hand with everything at hand, by what each tells by
    itself: whoever goes there plans anew. None where that is so.
    """

    action: str
    proposals: tuple[Proposal, ...] = ()
    further: tuple[Proposal, ...] | None = None
    meanings: Mapping[str, tuple[Meaning, ...]] | None = None
    repair_order: tuple[str, ...] = ()
    minutes: float = 0.0  # expected to the fix, if repair starts now
    lacks_figure: bool = False  # the leader is condemned only against a figure that is not stated
    handed: str | None = None  # why it is handed over though checks may tell: unsafe, or beyond


class Adviser:
    """Proposes checks for a model. What does not change between requests is kept."""

    def __init__(self, knowledge: Knowledge, model: Model, context: Mapping[str, Floats]) -> None:
        """Prepare the tables; ``context`` are the bins of checks that only rules weigh."""
        self._knowledge, self._checks = knowledge, knowledge.checks
        self._model, self._at = model, knowledge.thresholds
        self._causes = [knowledge.causes[name] for name in model.causes]
        self.minutes = np.array([one.minutes for one in self._causes])
        self._beyond = np.array([_elsewhere(one) or one.section == "outside"
                                 for one in self._causes])  # fmt: skip
        parts = [
            {change.id for state in one.states for change in state.changes
             if change.target == "part"} for one in self._causes
        ]  # fmt: skip
        # one repair puts right whatever is wrong with one part
        self._one_repair = np.array([
            [n == k or (bool(one) and one == other) for k, other in enumerate(parts)]
            for n, one in enumerate(parts)
        ])  # fmt: skip
        self._names = list(model.predictions)
        self._context = context
        self._hazards = {
            name: check_hazards(self._checks[name], model.variants) for name in self._names
        }
        trained = frozenset(knowledge.rows("trained-hands"))
        self._for_trained_hands = {
            name for name in self._names
            if self._hazards[name] & trained and not self._checks[name].remembered
        }  # fmt: skip

        def effort(kind: str) -> dict[str, float]:
            rows = knowledge.rows("effort").items()
            return {name: float(row["minutes"]) for name, row in rows if row["kind"] == kind}

        risks, self._setups = effort("hazard"), effort("setup")
        self._wrong = sum(effort("wrong-repair").values())
        self._base = {
            name: self._checks[name].minutes
            + sum(risks.get(one, 0.0) for one in self._hazards[name])
            for name in self._names
        }

    def plan(
        self, request: Request, belief: Belief, effects: Effects, conclusions: Conclusions,
        separator: str | None = None,
    ) -> Plan:  # fmt: skip
        """Return what to do next; ``separator`` tells two faults from one, where that is likely."""
        if effects.out_of_scope is not None:
            return Plan("refer")
        limits = self._limits(request, belief, effects, conclusions)
        free = replace(limits, kinds=None, lay=False)
        every = replace(free, kinds=(*items.USUAL_KINDS, *(limits.kinds or ())))
        looked = self._looked(belief, every)
        action, proposals = self._advised(looked, limits, conclusions, separator)
        further = None
        if limits.kinds is not None or limits.lay:
            whole = not limits.lay and set(limits.kinds or ()) == set(items.USUAL_KINDS)
            further = (
                proposals if whole
                else self._advised(looked, free, conclusions, separator, PLAIN)[1]
            )  # fmt: skip
        handed = self._handed(action, belief, effects, limits, proposals)
        course = "hand-over" if handed else self._course(action, belief, limits, proposals, further)
        return Plan(
            course, proposals, further,
            self._meanings(belief, {one.check for one in (*proposals, *(further or ()))}),
            self._repairs(belief),
            float(clock_minutes(belief.causes, self.minutes, self._wrong)),
            self.lacks_figure(belief), handed,
        )  # fmt: skip

    def _advised(
        self, looked: _Looked, limits: Limits, conclusions: Conclusions, separator: str | None,
        bounds: Bounds | None = None,
    ) -> tuple[str, tuple[Proposal, ...]]:  # fmt: skip
        """Return what to do and the checks, best first, those that rules prefer before others."""
        belief, ranked = looked.belief, self._ranked(looked, limits, bounds)[0]
        useful = [one for one in ranked if one.changes >= self._at.least_change]
        confirming = self._confirming(belief, ranked, limits)
        worth = [one for one in ranked if one.worth >= self._at.least_saving]
        promoted = _promoted(ranked, worth, conclusions, limits.again)
        first = [_told(one, tells_two=True) for one in ranked if one.check == separator]
        # what only prefers one check to another gives way to a cause that is all but certain
        standing = [one for one in promoted if one.reason.before_part]
        telling = [one for one in promoted if one.changes >= self._at.least_doubt]
        own = self._own_check(belief, ranked, limits)
        # what is found is put right before anybody asks whether it is all: the test after it tells
        open_yet = confirming or standing or (first and not self._found(belief))
        if self._confirmed(belief) and not open_yet:
            action, chosen = "repair", [*worth, *useful, *ranked[:LEADERS]]
        elif useful or standing or telling or first or confirming:
            deciding = [one for one in useful if one.worth >= self._at.least_saving]
            settling = self._settling(belief, useful, limits)
            asked = self._asked_for(worth, conclusions)
            looking = self._looking(worth, limits)
            action, chosen = "check", [
                *first, *promoted, *confirming, *deciding[:1], *looking, *own, *asked, *settling,
                *deciding, *useful, *worth,
            ]  # fmt: skip
        else:
            leads = float(belief.causes.max()) >= self._at.leads and not self.lacks_figure(belief)
            action, chosen = "repair" if leads else "hand-over", [*worth, *ranked[:LEADERS]]
        if action != "check" and (left := self._left_to_ask(belief, ranked, conclusions)):
            action, chosen = "check", [*left, *own, *chosen]
        return action, _listed(looked, chosen)

    def _left_to_ask(
        self, belief: Belief, ranked: Sequence[Proposal], conclusions: Conclusions
    ) -> list[Proposal]:
        """Return the free questions that rules would ask first and nobody has answered.

        They come before a repair of what is only inferred, and before the machine is handed on:
        they cost nothing, and what they say of the readings (that the fault comes and goes) no
        plan can foresee. Where its own check found the cause, it stands far apart or is all but
        certain, it is repaired. What another trade puts right has nothing here to be cleared: once
        it leads clearly, only what may bring a cause of this circuit back is asked.
        """
        leader = belief.order[0]
        named = self._causes[leader].id not in NO_REPAIR
        first, second = belief.causes[belief.order[:2]]
        apart = first >= self._at.leads and first >= self._at.apart * second
        sure = first >= self._at.sure or apart or self._showed(belief, leader)
        if sure and named:
            return []
        wishes = {wish.check for wish in conclusions.preferred}
        asked = [
            _told(one, before_part=True) for one in ranked
            if one.check in wishes and self._base[one.check] <= self._at.free
        ]  # fmt: skip
        leads = belief.causes[leader] >= self._at.leads
        if named and leads and self._beyond[leader] and self._clear(belief):
            return [one for one in asked if self._may_turn(belief, one.check)]
        return asked

    def _course(
        self, action: str, belief: Belief, limits: Limits, proposals: Sequence[Proposal],
        further: Sequence[Proposal] | None,
    ) -> str:  # fmt: skip
        """Return what to do in view of what somebody with everything at hand could check.

        Who can only do what hardly tells anything hands over, by phone sooner once the first
        questions were asked, and then though a cause leads; where nobody can tell two causes apart
        that are all that is left, both are repaired in order.
        """
        phone = limits.by_phone and len(belief.weighed) >= self._at.asked_by_phone
        little = self._at.little_by_phone if phone else self._at.little
        leads = belief.causes[belief.order[0]] >= self._at.leads
        best, beyond = self._most_told(proposals), self._most_told(further or proposals)
        if action == "check" and (phone or not leads) and best < little * beyond:
            return "hand-over"
        two = float(belief.causes[belief.order[:2]].sum())
        told = any(one.reason.before_part or one.reason.tells_two for one in proposals)
        if action != "repair" and not leads and two >= self._at.confirmed and not told:
            spent = beyond < self._at.least_saving and not self.lacks_figure(belief)
            return "repair" if spent else action
        return action

    def _handed(
        self, action: str, belief: Belief, effects: Effects, limits: Limits,
        proposals: Sequence[Proposal],
    ) -> str | None:  # fmt: skip
        """Return why to hand over though a check may tell; what a rule wants first comes first.

        Who can only ask goes no further with a machine at which not every step is allowed. A
        machine that is most likely good is given back, and so is one that works where nothing read
        speaks against it. Where the fault more likely than not lies beyond this circuit, or what
        leads clearly does, nobody measures on for a cause in it that has too little belief to be
        pursued; of what comes and goes a question is asked first that may bring such a cause back,
        unless one cause leads.
        Nor is anything put right in this circuit where what leads has no repair in it, or one of
        another trade.
        """
        leader = belief.order[0]
        leads = belief.causes[leader] >= self._at.leads
        if action == "repair":
            elsewhere = _elsewhere(self._causes[leader])
            # by phone nobody puts it right here, and what is only inferred nobody anywhere
            fetched = limits.by_phone or not self._confirmed(belief)
            beyond = elsewhere or (bool(self._beyond[leader]) and fetched)
            return BEYOND if leads and beyond else None
        if action != "check" or any(one.reason.before_part for one in proposals):
            return None
        if limits.forbidden and limits.kinds is not None and set(limits.kinds) == {"ask"}:
            return UNSAFE
        within, clear = belief.causes[~self._beyond].max(initial=0.0), self._clear(belief)
        name = self._model.causes[leader]
        if name == HEALTHY and (leads or (clear and self._works(belief, effects))):
            return BEYOND
        proved = (name == OUTSIDE or (leads and bool(self._beyond[leader]))) and clear
        past = proved or belief.causes[self._beyond].sum() >= self._at.leads
        if not past or within >= self._at.least_pursued:
            return None
        cleared = leads or effects.at_times <= 1.0  # what comes and goes no good reading clears
        asked = [one.check for one in proposals if one.reason.kind == "ask" and not cleared]
        return None if any(self._may_turn(belief, one) for one in asked) else BEYOND

    def _clear(self, belief: Belief) -> bool:
        """Return whether every cause of this circuit stands well behind the one that leads."""
        within = belief.causes[~self._beyond].max(initial=0.0)
        return bool(within < self._at.leads * belief.causes[belief.order[0]])

    def _works(self, belief: Belief, effects: Effects) -> bool:
        """Return whether the machine is said to work, was seen to, and nothing read denies it.

        What it does is asked first (a check that is answered from memory); what confirms a good
        machine was done, and a good machine explains every finding; nobody says that it comes and
        goes.
        """
        good = self._model.causes.index(HEALTHY)
        done = {one.finding.check for one in belief.weighed}
        seen = done & {*self._knowledge.causes[HEALTHY].confirmed_by}
        said = any(self._checks[one].remembered for one in done)
        amiss = belief.together.surprises[:, self._model.cause_of == good].max(axis=1)
        explained = bool((amiss >= BAD_SURPRISE).all())
        return bool(seen) and said and explained and effects.at_times < 1.0

    def _may_turn(self, belief: Belief, check: str) -> bool:
        """Return whether a check may well bring another cause of this circuit to the lead."""
        causes, leader = self._model.causes, self._model.causes[belief.order[0]]
        turned = {
            name for name, beyond in zip(causes, self._beyond, strict=True)
            if not beyond and name != leader
        }  # fmt: skip
        found = self.meanings(belief, check)
        chance = sum(one.chance for one in found if one.leaders[0].cause in turned)
        return chance >= self._at.least_change

    def _most_told(self, proposals: Sequence[Proposal]) -> float:
        """Return the minutes that the best of the checks is worth that may change the repair."""
        least = self._at.least_change
        return max((one.worth for one in proposals if one.changes >= least and one.worth > 0),
                   default=0.0)  # fmt: skip

    def _confirmed(self, belief: Belief) -> bool:
        """Return whether the leading cause is all but certain, or was found by its own check.

        What is wrong with one part is put right by one repair, and counts together. Of one that was
        found and stands apart, the rest of the belief is spread over many: no check
        tells it from them all, and its own was done. A second cause that was found by another
        check of its own is a second fault and no rival.
        """
        showed = self._showed(belief, belief.order[0])
        found = self._kinds(showed)
        least = self._at.leads if found & AT_THE_PART else self._at.confirmed
        least = min(least, self._at.measured) if found else least
        same = self._one_repair[belief.order[0]]
        rival = int(np.argmax(np.where(same, 0.0, belief.causes)))
        done = {one.finding.check for one in belief.weighed}
        for other in range(len(self._causes)) if found else ():
            if same[other] or self._causes[other].id in NO_REPAIR:
                continue
            if not done.intersection(self._causes[other].confirmed_by):
                continue
            beside = self._kinds(one for one in self._showed(belief, other) if one not in showed)
            if beside & AT_THE_PART:
                least = self._at.leads
            if beside & AT_THE_PART or (beside and other == rival):
                same = same | self._one_repair[other]
        first, second = belief.causes[same].sum(), belief.causes[~same].max(initial=0.0)
        if found and first >= self._at.apart * second:
            least = self._at.leads
        return bool(first >= (self._at.sure if self.lacks_figure(belief) else least))

    def _found(self, belief: Belief) -> set[str]:
        """Return the kinds of check that found the leading cause; hearsay finds none.

        What failed as it was shaken, heated or wetted was tried, whatever showed it. A question
        that takes its minute is answered from the machine (a symbol, a lamp), not from memory.
        """
        return self._kinds(self._showed(belief, belief.order[0]))

    def _kinds(self, findings: Iterable[Finding]) -> set[str]:
        """Return the kinds of check that findings came of, without hearsay."""
        return {
            "try" if one.provoked is not None else self._checks[one.check].kind
            for one in findings
            if self._checks[one.check].kind != "ask" or self._checks[one.check].minutes > 0
        }

    def _showed(self, belief: Belief, cause: int) -> list[Finding]:
        """Return the findings that confirm a cause and speak clearly for its repair."""
        looks = self._causes[cause].confirmed_by
        weights = belief.decibans_of(self._one_repair[cause])
        return [
            one.finding
            for one, weight in zip(belief.weighed, weights, strict=True)
            if one.finding.check in looks and weight >= self._at.seen_decibans
        ]

    def lacks_figure(self, belief: Belief) -> bool:
        """Return whether the leading cause is condemned only against a figure that is not stated.

        Or by a reading that no good part gives: the belief is then all but certain.
        """
        own = self._causes[belief.order[0]].own_figure
        return own is not None and getattr(self._model.machine, own.figure) is None

    def _confirming(
        self, belief: Belief, ranked: Sequence[Proposal], limits: Limits
    ) -> list[Proposal]:
        """Return the cheap check that confirms a leader before its part is fitted, if there is one.

        Cheap is what costs a small share of the repair that it may spare: at a place that is open
        already, unless a check that was done shows the cause clearly.
        """
        leader = belief.order[0]
        if not self._at.unsure <= belief.causes[leader] <= self._at.sure:
            return []
        looks, shown = self._causes[leader].confirmed_by, bool(self._showed(belief, leader))

        def cost(one: Proposal) -> float:
            return self._base[one.check] if shown else self._minutes_of(one.check, limits)

        able = (
            one for one in ranked
            if one.check in looks and one.changes >= self._at.least_doubt
            and cost(one) <= self._at.cheap
        )  # fmt: skip
        return sorted(able, key=cost)[:1]

    def _asked_for(self, worth: Sequence[Proposal], conclusions: Conclusions) -> list[Proposal]:
        """Return a check that rules would ask first and minutes alone would not, if it tells."""
        wishes = {wish.check for wish in conclusions.preferred}
        least = self._at.idle * max((one.worth for one in worth), default=0.0)
        return [one for one in worth if one.check in wishes and one.worth >= least][:1]

    def _looking(self, worth: Sequence[Proposal], limits: Limits) -> list[Proposal]:
        """Return the cheap look that tells most for its time: eyes come before the meter."""
        able = [
            (cost / one.worth, one) for one in worth
            if self._checks[one.check].kind == "look" and one.changes >= self._at.least_doubt
            and (cost := self._minutes_of(one.check, limits)) <= self._at.cheap
        ]  # fmt: skip
        return [one for _, one in sorted(able, key=lambda pair: pair[0])[:1]]

    def _own_check(
        self, belief: Belief, ranked: Sequence[Proposal], limits: Limits
    ) -> list[Proposal]:
        """Return the check that confirms the leading cause, most for its time.

        It stands high though the plan would hardly change by it: nobody puts a fault right that he
        could have seen first. It takes no longer than the repair.
        """
        cause, least = self._causes[belief.order[0]], self._at.least_doubt
        if belief.causes[belief.order[0]] < self._at.least_settled or cause.id in NO_REPAIR:
            return []
        able = (
            one for one in ranked
            if one.check in cause.confirmed_by and self._base[one.check] <= cause.minutes
        )  # fmt: skip
        return sorted(
            able, key=lambda one: self._minutes_of(one.check, limits) / max(one.changes, least)
        )[:1]

    def _settling(
        self, belief: Belief, useful: Sequence[Proposal], limits: Limits
    ) -> list[Proposal]:
        """Return a check for each of the two leading causes that confirms it: most for its time.

        They stand behind the best check: what comes next in a list by worth alone is mostly the
        same question asked at another place.
        """
        found: list[Proposal] = []
        for leader in belief.order[:2]:
            cause = self._causes[leader]
            if cause.id not in NO_REPAIR and belief.causes[leader] >= self._at.least_settled:
                able = [
                    one for one in useful if one.check in cause.confirmed_by and one not in found
                ]
                found += sorted(
                    able, key=lambda one: self._minutes_of(one.check, limits) / one.changes
                )[:1]
        return found

    def meanings(self, belief: Belief, check: str) -> tuple[Meaning, ...]:
        """Return what each result of a check would mean: neighbours with one leader together.

        Raises KeyError for a check that the machine cannot have.
        """
        return self._meanings(belief, [check])[check]

    def _meanings(self, belief: Belief, checks: Iterable[str]) -> dict[str, tuple[Meaning, ...]]:
        """Return what each result of each of the checks would mean."""
        names = sorted(checks)
        if not names:
            return {}
        forecasts = self._forecasts(belief, names)
        results = np.concatenate([one.bins.T for one in forecasts])
        joint = results * belief.known.weights @ self._model.membership[belief.known.rows]
        ends = np.cumsum([one.bins.shape[1] for one in forecasts])[:-1]
        by_check = zip(names, forecasts, np.split(joint, ends), strict=True)
        found = [
            (name, result, weights) for name, forecast, rows in by_check
            for result, weights in _results(self._model, name, forecast, rows)
        ]  # fmt: skip
        weights = np.stack([one for _, _, one in found])
        chances = weights.sum(axis=1)
        after = weights / np.maximum(chances, 1e-300)[:, None]
        leading = self._model.ranked(after)[:, :LEADERS]
        shares = np.round(np.take_along_axis(after, leading, axis=1), 6).tolist()
        told: dict[str, list[Meaning]] = {name: [] for name in names}
        for (name, result, _), chance, order, share in zip(
            found, np.round(chances, 6).tolist(), leading.tolist(), shares, strict=True
        ):
            leaders = tuple(
                Leader(self._model.causes[n], one) for n, one in zip(order, share, strict=True)
            )
            told[name].append(
                Meaning(result, None, None, chance, leaders) if isinstance(result, str)
                else Meaning(None, result.words, result, chance, leaders)
            )  # fmt: skip
        return {name: tuple(meanings) for name, meanings in told.items()}

    def _forecasts(self, belief: Belief, names: Sequence[str]) -> list[Forecast]:
        """Return the results of checks; what only rules weigh is expected from the context."""
        known, context = belief.known, self._context
        weighed = [name for name in names if name not in context]
        found = dict(zip(weighed, known.forecasts(weighed), strict=True))
        return [
            Forecast(context[name].T[:, known.rows].T, np.zeros(0))
            if name in context
            else found[name]
            for name in names
        ]

    def for_trained_hands(self, name: str) -> bool:
        """Return whether somebody lay is never sent to a check, whatever it would save."""
        return name in self._for_trained_hands

    def _repairs(self, belief: Belief) -> tuple[str, ...]:
        """Return the order in which repairs would be tried, the likely ones only."""
        names = self._model.causes
        likely = [
            names[n] for n in repair_order(belief.causes, self.minutes, self._wrong)
            if belief.causes[n] >= self._at.least_repair and names[n] not in NO_REPAIR
        ]  # fmt: skip
        return tuple(likely[:MOST_REPAIRS])

    def proposals(self, belief: Belief, limits: Limits) -> Ranked:
        """Return the checks that can be done, best plan first, and what the best plan costs.

        Some may save less than nothing. Of checks that are nearly as good as the best, what is free
        and what is done at a place that is open already come first. What hardly helps by itself
        waits: two steps ahead a free question seems as good as the check behind it.
        """
        return self._ranked(self._looked(belief, limits), limits)

    def _looked(self, belief: Belief, limits: Limits) -> _Looked:
        """Return the checks that can be done with what each tells by itself."""
        names = [name for name in self._names if self._open(name, limits)]
        problem = self._problem(belief, names, limits)
        joint = problem.joint(belief.known.weights)
        causes = belief.known.weights @ problem.membership
        return _Looked(belief, names, problem, joint, *self._split(problem, causes, joint))

    def _ranked(self, looked: _Looked, limits: Limits, bounds: Bounds | None = None) -> Ranked:
        """Return those of the checks that can be done within ``limits``, as ``proposals``.

        ``bounds`` of the planner's work, where they are not those for the size of the problem.
        """
        names, belief, changes = looked.names, looked.belief, looked.changes
        able = [place for place, name in enumerate(names) if self._open(name, limits)]
        if not able:
            return (), float(repair_minutes(belief.causes, self.minutes, self._wrong))
        groups = [f"{self._checks[one].kind}{one in self._for_trained_hands}"
                  for one in names]  # fmt: skip
        ranking = rank(
            looked.problem, belief.known.weights, able, bounds, groups, looked.ahead[able]
        )
        near = ranking.best + self._at.near_tie * ranking.stop
        worth = {one.check: ranking.worth(one) for one in ranking.options}
        deciding = [worth[n] for n in worth if changes[n] >= self._at.least_change]
        least = self._at.idle * max(deciding, default=0.0)
        reached = limits.reached - {"none"}

        def place(one: Option) -> tuple[bool, bool]:
            idle = worth[one.check] < least or changes[one.check] < self._at.least_change
            check, name = self._checks[names[one.check]], names[one.check]
            easy = self._base[name] <= self._at.free or check.setup in reached
            return idle, not (easy and one.two_ahead <= near)

        leads = belief.causes[belief.order[0]] >= self._at.leads
        cause = self._causes[belief.order[0]]
        found = []
        for one in sorted(ranking.options, key=place):
            name = names[one.check]
            reason = Reason(
                int(looked.splits[one.check]),
                cause.id if leads and name in cause.confirmed_by else None,
                kind=self._checks[name].kind,
                reached=self._checks[name].setup in reached,
                provoke=self._provoking(name, limits),
            )
            found.append(Proposal(name, 0.0, worth[one.check], float(changes[one.check]), reason))
        return tuple(found), ranking.best

    def _provoking(self, name: str, limits: Limits) -> str | None:
        """Return what brings the fault on while a check is read, if anything does and may."""
        adds = items.HAZARDS_OF_PROVOKED.get(limits.provoke or "", frozenset())
        read = self._checks[name].kind in items.READ_KINDS
        return limits.provoke if read and not adds & limits.forbidden else None

    def _split(self, problem: Problem, causes: Floats, joint: Floats) -> tuple[Floats, Floats]:
        """Return how many of the likeliest causes each check tells apart, and the chance of change.

        A cause counts as told from the first when half of its results lie elsewhere; a change is
        one of the repair that would be tried first.
        """
        leading = np.argsort(-causes, kind="stable")[:LEADERS]
        leading = leading[causes[leading] >= self._at.least_split]
        given = joint[:, leading] / np.maximum(causes[leading], 1e-300)
        apart = problem.by_check(np.abs(given - given[:, :1])) / 2 > self._at.told_apart
        price = problem.repair_minutes + problem.wrong_repair
        moved = np.argmax(joint / price, axis=1) != np.argmax(causes / price)
        changes = problem.by_check(joint.sum(axis=1) * moved) / max(float(causes.sum()), 1e-300)
        splits = apart.sum(axis=1)
        return np.where(splits, splits + 1, 0), changes

    def _limits(
        self, request: Request, belief: Belief, effects: Effects, conclusions: Conclusions
    ) -> Limits:
        """Return what limits the choice of the next check."""
        again = self._wanted_again(belief) if effects.provoke else set()
        known = [one.check for one in request.findings if one.outcome != NOT_KNOWN]
        aside = {one.finding for one in effects.set_aside}
        return Limits(
            again=frozenset(one.check for one in request.findings if one.index in aside),
            left_out=frozenset(
                {*_answered(request.findings, effects) - again, *effects.dropped_checks}
            ),
            kinds=request.on_hand,
            forbidden=conclusions.forbidden,
            excepted=conclusions.excepted,
            reached=frozenset(self._checks[name].setup for name in known),
            lay=request.skill == LAY,
            provoke=effects.provoke,
        )

    def _wanted_again(self, belief: Belief) -> set[str]:
        """Return the readings that may be taken again while the fault is brought on.

        They were taken as it happened to be, once, and a good circuit gives them: so nobody knows
        whether they were taken while it failed.
        """
        found = [one for one in belief.weighed if self._checks[one.finding.check].kind
                 in items.READ_KINDS]  # fmt: skip
        times = Counter(one.finding.check for one in found)
        good = self._model.good
        return {
            one.finding.check for one in found
            if one.finding.provoked is None and times[one.finding.check] == 1
            and one.surprise[good].max() >= BAD_SURPRISE
        }  # fmt: skip

    def _open(self, name: str, limits: Limits) -> bool:
        """Return whether a check may be proposed."""
        kind = self._checks[name].kind
        return (
            name not in limits.left_out
            and kind in (items.USUAL_KINDS if limits.kinds is None else limits.kinds)
            and not (limits.lay and name in self._for_trained_hands)
            and (name in limits.excepted or not self._hazards[name] & limits.forbidden)
        )

    def _problem(self, belief: Belief, names: Sequence[str], limits: Limits) -> Problem:
        """Return the planning problem of the hypotheses that still matter."""
        membership = self._model.membership[belief.known.rows]
        causes = membership.any(axis=0)
        results = [one.bins.T for one in self._forecasts(belief, names)]
        none = np.zeros((0, len(membership)))
        return Problem(
            membership[:, causes], np.concatenate([none, *results]).T,
            [int(n) for n in np.cumsum([0, *map(len, results)])],
            np.array([self._minutes_of(name, limits) for name in names]),
            self.minutes[causes], wrong_repair=self._wrong,
        )  # fmt: skip

    def _minutes_of(self, name: str, limits: Limits) -> float:
        """Return what a check costs; a place that is open already is not opened again."""
        setup = self._checks[name].setup
        saved = self._setups.get(setup, 0.0) if setup in limits.reached else 0.0
        return max(self._base[name] - saved, 0.25)


def _elsewhere(cause: items.Cause) -> bool:
    """Return whether nothing of a cause is put right here: somebody else does it, or nobody."""
    return cause.id in NO_REPAIR or bool(cause.another_trade)


def _answered(findings: Sequence[Finding], effects: Effects) -> set[str]:
    """Return the checks that need no asking: answered, unless the answer was set aside.

    A check whose repeat was set aside too is not asked a third time.
    """
    aside = {entry.finding for entry in effects.set_aside}
    older = {entry.finding for entry in effects.superseded}
    counted = [one for one in findings if one.index not in older]
    times = Counter(one.check for one in counted)
    return {one.check for one in counted if one.index not in aside or times[one.check] > 1}


def _promoted(
    ranked: Sequence[Proposal], worth: Sequence[Proposal], conclusions: Conclusions,
    again: Collection[str] = (),
) -> list[Proposal]:  # fmt: skip
    """Return up to two checks that rules put before the others.

    A trap or context rule can only prefer a check that saves at least half of what the best one
    does, unless it wants a reading once ``again`` that it set aside; a chain (do this before the
    new part is fitted) stands whatever the minutes say.
    """
    saving = {one.check: one for one in ranked}
    enough = 0.5 * max((one.worth for one in worth), default=np.inf)
    chosen = {
        wish.check: _told(saving[wish.check], before_part=wish.always)
        for wish in conclusions.preferred
        if wish.check in saving
        and (wish.always or wish.check in again or saving[wish.check].worth >= enough)
    }
    return sorted(chosen.values(), key=lambda one: -round(one.worth, 6))[:2]


def _listed(looked: _Looked, chosen: Iterable[Proposal]) -> tuple[Proposal, ...]:
    """Return the first of the proposals, each check once, with what it saves by the clock."""
    by_check: dict[str, Proposal] = {}
    for one in chosen:
        by_check.setdefault(one.check, one)
    proposals = list(by_check.values())[:MAX_PROPOSALS]
    saved = looked.saved(one.check for one in proposals)
    return tuple(
        one._replace(saves_minutes=max(minutes, 0.0))
        for one, minutes in zip(proposals, saved, strict=True)
    )


def _told(proposal: Proposal, tells_two: bool = False, before_part: bool = False) -> Proposal:
    """Return a proposal with why a rule or a second fault puts it first."""
    reason = proposal.reason._replace(tells_two=tells_two, before_part=before_part)
    return proposal._replace(reason=reason)


def _results(
    model: Model, check: str, forecast: Forecast, joint: Floats
) -> list[tuple[str | Band, Floats]]:
    """Return the results of a check with the weight of each cause, ``joint`` (result, cause).

    Stretches of readings that lie side by side and have the same leader are taken together.
    """
    prediction = model.predictions[check]
    if isinstance(prediction, OutcomePrediction):
        return list(zip(prediction.names, joint, strict=True))
    stretches = _stretches(prediction, forecast.edges)
    leaders = model.leaders(joint[: len(stretches)])
    found: list[tuple[str | Band, Floats]] = []
    for _, places in groupby(range(len(stretches)), key=leaders.__getitem__):
        rows = list(places)
        low, high = stretches[rows[0]].low, stretches[rows[-1]].high
        found.append((Band(low, high, prediction.unit), joint[rows].sum(axis=0)))
    if len(joint) > len(stretches):
        found.append((open_band(prediction.unit), joint[-1]))
    return found


def _stretches(prediction: ReadingPrediction, scaled: Floats) -> list[Band]:
    """Return the stretches of readings that the planner tells apart, without the over range."""
    edges = np.asarray(prediction.scale.back(scaled))
    digits = fine_digits(float(np.diff(edges).min())) if len(edges) > 1 else 3
    inner = [rounded(float(edge), digits) for edge in edges]
    return [
        Band(low, high, prediction.unit)
        for low, high in zip([-np.inf, *inner], [*inner, None], strict=True)
    ]  # fmt: skip


class Advisers:
    """The adviser of each model, kept as long as the model is; safe to share between threads."""

    def __init__(self, knowledge: Knowledge, qualify: RuleSet) -> None:
        self._knowledge, self._qualify = knowledge, qualify
        self._shifts: dict[tuple[object, ...], Mapping[str, float]] = {}

    def of(self, model: Model) -> Adviser:
        """Return the adviser of a model."""
        return model.kept(self, lambda: Adviser(self._knowledge, model, self.context_bins(model)))

    def context_bins(self, model: Model) -> dict[str, Floats]:
        """Return what to expect of the checks that say something only through context rules.

        P(outcome | cause) is taken in proportion to the check's base rate and to the shift that
        the rules give the cause when that outcome alone is known.
        """
        bins = {}
        for name, prediction in model.predictions.items():
            outcomes = self._knowledge.checks[name].outcomes
            if not isinstance(prediction, OutcomePrediction) or outcomes is None:
                continue
            if outcomes.given or isinstance(outcomes.tree, items.Branch):
                continue
            shifts = [self._shifts_of(model, name, one) for one in prediction.names]
            rows = np.array([[one.get(cause, 1.0) for one in shifts] for cause in model.causes])
            shares = prediction.shares * rows[model.cause_of]
            bins[name] = shares / shares.sum(axis=1, keepdims=True)
        return bins

    def _shifts_of(self, model: Model, check: str, outcome: str) -> Mapping[str, float]:
        """Return the factors that context rules give causes for one answer on its own.

        Machines alike in all that these rules look at share them: they rarely look at a number.
        """
        finding = Finding(0, check, outcome, None, None, outcome)
        request = Request(model.machine, None, (finding,), None, 0, ())
        key = (check, outcome, self._qualify.machine_alike(case_view(request, [])))
        if key not in self._shifts:
            view = case_view(request, [observe(model, finding)])
            self._shifts[key] = effects_of(self._knowledge, view, self._qualify.run(view)).shifts
        return self._shifts[key]
