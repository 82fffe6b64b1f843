"""Everything that can be known about a machine before anything is found: priors and predictions.

Built once for each different machine and kept; a diagnosis only reads it. When the coil style or
the control type is not known, the hypotheses of every variant stand side by side.
"""

from collections import OrderedDict, defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from functools import cached_property
from threading import Lock
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from engine.knowledge import Knowledge, items
from engine.knowledge.items import applies
from engine.physics import behaviour
from engine.physics.band import Band
from engine.physics.circuit import Floats
from engine.physics.conditions import MeasurementConditions, as_done
from engine.physics.hypotheses import Cases, Faults, Hypothesis, enumerate_hypotheses, make_cases
from engine.physics.machine import Machine, Variant, make_variant
from engine.physics.prediction import (
    OutcomePrediction,
    Prediction,
    Predictor,
    ReadingPrediction,
    joined,
    silent,
    situation_of,
)
from engine.physics.solution import solve_situations

HEALTHY, OUTSIDE, NOT_LISTED = "healthy", "outside", "not-listed"
NO_REPAIR = (HEALTHY, OUTSIDE, NOT_LISTED)  # nothing in this circuit to put right
SPLIT_FUSE_FROM = 0.02  # a fuse that opens more often than this gets a hypothesis of its own
# How often a fuse that would have opened is whole as it is looked at: a new one was put in for the
# reading, or one is fitted that bears more (judgement)
WHOLE_AGAIN = 0.08
Kept = TypeVar("Kept")
MOST_BYTES = 96 * 2**20  # of models kept; the setting ``model_mebibytes`` of the service
# glibc maps what is larger than all that was mapped and given back before (up to 32 MiB), and gives
# back what is free beyond twice that: a machine's arrays were mapped and zeroed anew each time, an
# eighth of its cost. Elsewhere this does nothing.
KEPT_BY_MALLOC = 31 * 2**20


@dataclass(frozen=True)
class VariantModel:
    """The hypotheses and predictions of one variant."""

    variant: Variant
    hypotheses: tuple[Hypothesis, ...]
    prior: Floats
    events: Mapping[str, Floats]
    predictions: Mapping[str, Prediction]

    @property
    def nbytes(self) -> int:
        """Return about how many bytes its predictions hold once they are in use."""
        return sum(one.nbytes for one in self.predictions.values())


@dataclass(frozen=True)
class Model:
    """All variants of a machine: one long list of hypotheses."""

    machine: Machine
    variants: tuple[Variant, ...]
    causes: tuple[str, ...]
    cause_of: NDArray[np.intp]
    variant_of: NDArray[np.intp]
    hypotheses: tuple[Hypothesis, ...]
    prior: Floats
    predictions: Mapping[str, Prediction]
    membership: Floats  # (hypothesis, cause): 1 where it belongs
    built: tuple[VariantModel, ...] = field(repr=False)
    knowledge: Knowledge = field(repr=False)
    companions: dict[object, Any] = field(repr=False, init=False, default_factory=dict)

    def kept(self, key: object, make: Callable[[], Kept]) -> Kept:
        """Return what is made once under a key, and kept as long as the model is."""
        try:
            found: Kept = self.companions[key]
        except KeyError:  # or emptied meanwhile: the store may drop the model while it is asked
            found = self.companions.setdefault(key, make())
        return found

    @cached_property
    def nbytes(self) -> int:
        """Return about how many bytes it holds once it is in use, what it derives included."""
        own = sum(one.nbytes for one in self.predictions.values())
        parts = sum(one.nbytes for one in self.built) if len(self.built) > 1 else 0
        return own + parts // 2  # of its parts nothing is derived

    def by_cause(self, weights: Floats) -> Floats:
        """Return weights of hypotheses summed to causes."""
        return np.bincount(self.cause_of, weights=weights, minlength=len(self.causes)).astype(
            np.float64
        )

    @cached_property
    def rows_by_cause(self) -> NDArray[np.intp]:
        """Return the places of the hypotheses, those of each cause together."""
        return np.argsort(self.cause_of, kind="stable")

    @cached_property
    def unlisted(self) -> NDArray[np.bool_]:
        """Return which hypotheses stand for a fault that is not in the list."""
        return np.array([one.cause == NOT_LISTED for one in self.hypotheses])

    @cached_property
    def good(self) -> NDArray[np.intp]:
        """Return the place of the good circuit of each hypothesis' own variant."""
        first = np.flatnonzero(np.diff(self.variant_of, prepend=-1))
        return first[self.variant_of]

    @cached_property
    def comes_and_goes(self) -> Floats:
        """Return how often each hypothesis is one of a fault that is there at times only.

        A fuse that it has opened stays open.
        """
        causes = self.knowledge.causes
        return np.array([
            causes[one.cause].comes_and_goes if one.cause in causes and not one.fuse_opened else 0.0
            for one in self.hypotheses
        ])  # fmt: skip

    def stays_seen(self, check: str) -> NDArray[np.bool_]:
        """Return the causes that a check shows while the fault is away too: a row of its own in
        the check's table tells of what can be seen or heard of it at any time."""
        outcomes = self.knowledge.checks[check].outcomes
        given = {name.split("/")[0] for name in outcomes.given} if outcomes else set()
        return np.array([name in given for name in self.causes])

    @cached_property
    def _place_of_name(self) -> NDArray[np.intp]:
        return np.argsort(np.argsort(np.array(self.causes))).astype(np.intp)

    def ranked(self, weights: Floats) -> NDArray[np.intp]:
        """Return the causes along the last axis, most probable first; equal ones by name."""
        names = np.broadcast_to(self._place_of_name, weights.shape)
        return np.lexsort((names, -np.round(weights, 9)))

    def leaders(self, weights: Floats) -> list[int]:
        """Return the first of ``ranked`` for each row of weights, shape (..., cause)."""
        by_name = np.argsort(self._place_of_name)
        return by_name[np.round(weights[:, by_name], 9).argmax(axis=1)].tolist()

    def weights_of(self, cause: str, weights: Floats | None = None) -> Floats:
        """Return the hypotheses' weights (their priors) where they belong to a cause, else 0.

        A fault that is not in the list gives what anything in the list might: they all count.
        """
        mine = ~self.unlisted if cause == NOT_LISTED else self.cause_of == self.causes.index(cause)
        return np.where(mine, self.prior if weights is None else weights, 0.0)

    def blended(self, chances: Floats, keep: NDArray[np.intp] | None = None) -> Floats:
        """Return chances of results (hypothesis, ...) with the unlisted fault's filled in.

        It gives each result as often as the whole list does beforehand (prior predictive).
        ``keep`` are the hypotheses that the rows stand for, all where left out.
        """
        rows = slice(None) if keep is None else keep
        unlisted, prior = self.unlisted[rows], self.prior[rows]
        if not unlisted.any() or unlisted.all():
            return chances
        listed = np.where(unlisted, 0.0, prior)
        filled = chances.copy(order="K")
        filled[unlisted] = listed @ chances / max(float(listed.sum()), 1e-300)
        return filled

    def prediction(self, conditions: MeasurementConditions) -> Prediction:
        """Return the prediction of a check as it was really done."""
        if conditions == MeasurementConditions(conditions.check):
            return self.predictions[conditions.check]
        usual, check = self.predictions[conditions.check], self.knowledge.checks[conditions.check]
        return self.kept(conditions, lambda: joined([
            _predict_asked(self.knowledge, one, check, conditions)
            or silent(usual, len(one.hypotheses)) for one in self.built
        ]))  # fmt: skip

    def band(self, conditions: MeasurementConditions, cause: str) -> Band:
        """Return what a reading would be under a cause, 5 to 95 % of cases.

        Of the healthy circuit the band that readings are judged by.
        """

        def made() -> Band:
            prediction = self.prediction(conditions)
            assert isinstance(prediction, ReadingPrediction)
            mine = self.weights_of(cause)
            good = prediction.good_band(mine) if cause == HEALTHY else None
            return good or prediction.band(mine)

        return self.kept((conditions, cause), made)

    def outcomes(self, conditions: MeasurementConditions) -> Floats:
        """Return the chance of each outcome of a check under each cause, (cause, outcome)."""

        def made() -> Floats:
            prediction = self.prediction(conditions)
            assert isinstance(prediction, OutcomePrediction)
            return self._prior_by_cause @ prediction.shares

        return self.kept((conditions, "outcomes"), made)

    @cached_property
    def _prior_by_cause(self) -> Floats:
        """Return the prior of the hypotheses given each cause, (cause, hypothesis)."""
        weights = np.stack([self.weights_of(name) for name in self.causes])
        return weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)


def applicable_checks(
    checks: Mapping[str, items.Check], variant: Variant
) -> dict[str, items.Check]:
    """Return the checks that the variant can have."""
    return {
        name: check for name, check in checks.items() if applies(check.applies, **variant.facts)
    }


Kinds = dict[tuple[object, ...], Faults]  # by Variant.kind


def build_variants(
    knowledge: Knowledge, variants: Sequence[Variant], kinds: Kinds | None = None
) -> list[VariantModel]:
    """Solve every hypothesis of each variant and predict every check.

    ``kinds`` is what was worked out before for machines of the same kinds; new ones are added.
    """
    kinds = {} if kinds is None else kinds
    cases = []
    for one in variants:
        if one.kind not in kinds:
            found = enumerate_hypotheses(knowledge.causes, one)
            found.sort(key=lambda one: one.cause != HEALTHY)  # bands, lamps compare with the first
            kinds[one.kind] = Faults.of(found, one)
        cases.append(kinds[one.kind].on(one))
    return solve_hypotheses(knowledge, split_fuses(cases))


def solve_hypotheses(
    knowledge: Knowledge, split: Sequence[tuple[Cases, Floats]],
    only: Collection[str] | None = None,
) -> list[VariantModel]:  # fmt: skip
    """Predict every check under the hypotheses of variants' cases, the healthy circuit first.

    Beside each stands the chance that a fresh pull fuse opens in one pulse. ``only`` these checks,
    where they are given.
    """
    asked = knowledge.checks if only is None else {one: knowledge.checks[one] for one in only}
    checks = [applicable_checks(asked, cases.variant) for cases, _ in split]
    readings = [one.reading for some in checks for one in some.values() if one.reading is not None]
    read = sorted({situation_of(one) for one in readings if one.quantity != "seconds"})
    wanted = list(dict.fromkeys([*behaviour.SITUATIONS, *read]))
    found = []
    for solution, mine, (cases, fuse_opens) in zip(
        solve_situations([cases for cases, _ in split], wanted), checks, split, strict=True
    ):
        events = behaviour.Behaviour(solution, fuse_opens).events()
        predictor = Predictor(solution, events, knowledge.rows("instruments"))
        prior = _prior(knowledge, cases.variant, cases.hypotheses)
        found.append(VariantModel(
            cases.variant, cases.hypotheses, prior, events, predictor.predict_all(mine)
        ))  # fmt: skip
    return found


def _prior(knowledge: Knowledge, variant: Variant, found: Sequence[Hypothesis]) -> Floats:
    """Return how likely each hypothesis is beforehand, from the shares of causes."""
    shares = {name: knowledge.share(variant.circuit.id, name) for name in knowledge.causes}
    weights = np.array([one.weight * shares.get(one.cause, 0.0) for one in found])
    return weights / max(weights.sum(), 1e-300)


def _predict_asked(
    knowledge: Knowledge, model: VariantModel, check: items.Check, conditions: MeasurementConditions
) -> Prediction | None:
    """Predict a reading as it was done; None where it says nothing."""
    if check.id not in model.predictions:
        return None
    if check.reading is None:
        return model.predictions[check.id]
    done = as_done(check.reading, conditions, model.variant)
    if done is None:
        return None
    if done == check.reading:
        return model.predictions[check.id]
    situation = situation_of(done)
    needed = [situation] if done.quantity != "seconds" else list(behaviour.SITUATIONS)
    (solution,) = solve_situations([make_cases(model.hypotheses, model.variant)], needed)
    predictor = Predictor(solution, model.events, knowledge.rows("instruments"))
    return predictor.predict_all({check.id: replace(check, reading=done)})[check.id]


def split_fuses(several: Sequence[Cases]) -> list[tuple[Cases, Floats]]:
    """Give a hypothesis whose fault may have opened the pull fuse a twin in which it has.

    Beside each one's cases stands the chance that a fresh fuse opens in one pulse.
    """
    fresh = solve_situations(several, [behaviour.NEW_FUSE, behaviour.NEW_FUSE_AFTER])
    return [
        _split(cases, *behaviour.fuse_openings(one))
        for cases, one in zip(several, fresh, strict=True)
    ]


def _split(cases: Cases, once: Floats, ever: Floats) -> tuple[Cases, Floats]:
    split, of = [], []
    for number, (hypothesis, chance) in enumerate(
        zip(cases.hypotheses, ((1.0 - WHOLE_AGAIN) * ever).tolist(), strict=True)
    ):
        if chance < SPLIT_FUSE_FROM:
            mine = [hypothesis]
        else:
            weight = hypothesis.weight
            mine = [replace(hypothesis, weight=weight * chance, fuse_opened=True)]
            mine.append(replace(hypothesis, weight=weight * (1 - chance)))
        split += mine
        of += [number] * len(mine)
    return cases.of(split, np.array(of)), once[of]


def combine(knowledge: Knowledge, machine: Machine, built: Sequence[VariantModel]) -> Model:
    """Put the variants of a machine side by side; each circuit and coil is as likely as another."""
    hypotheses = tuple(one for model in built for one in model.hypotheses)
    present = {one.cause for one in hypotheses}
    known = tuple(name for name in knowledge.causes if name in present)
    cause_names = (*known, *sorted(present - set(known)))  # pairs of causes are not in kb/
    place = {name: number for number, name in enumerate(cause_names)}
    cause_of = np.array([place[one.cause] for one in hypotheses], dtype=np.intp)
    variant_of = np.repeat(np.arange(len(built)), [len(m.hypotheses) for m in built])
    membership = np.zeros((len(hypotheses), len(cause_names)))
    membership[np.arange(len(hypotheses)), cause_of] = 1.0
    predictions = {}
    for name in sorted({name for model in built for name in model.predictions}):
        usual = next(one.predictions[name] for one in built if name in one.predictions)
        predictions[name] = joined([
            one.predictions.get(name) or silent(usual, len(one.hypotheses)) for one in built
        ])  # fmt: skip
    return Model(
        machine=machine,
        variants=tuple(model.variant for model in built),
        causes=cause_names,
        cause_of=cause_of,
        variant_of=variant_of,
        hypotheses=hypotheses,
        prior=np.concatenate(
            [
                one.prior * weight
                for one, weight in zip(built, _weights([one.variant for one in built]), strict=True)
            ]
        ),
        predictions=predictions,
        membership=membership,
        built=tuple(built),
        knowledge=knowledge,
    )


def variants_of(knowledge: Knowledge, machine: Machine) -> list[Variant]:
    """Return every circuit and coil style that the machine may have, in a fixed order."""
    circuits = knowledge.circuits_of(machine.duty, machine.control)
    coils = items.COILS if machine.coil == "unknown" else (machine.coil,)
    return [
        make_variant(machine, circuit, coil, otherwise)
        for circuit in circuits for coil in coils for otherwise in _builds(machine, circuit)
    ]  # fmt: skip


def _builds(machine: Machine, circuit: items.Circuit) -> list[tuple[str, ...]]:
    """Return what may be built otherwise: all that goes with what is known."""
    found: list[tuple[str, ...]] = [()]
    for name, (usual, other) in items.BUILDS.items():
        said = getattr(machine, name)
        if circuit.otherwise(name) is None or said == usual:
            continue
        so = [(*one, name) for one in found]
        found = so if said == other else [*found, *so]
    return found


def _weights(variants: Sequence[Variant]) -> list[float]:
    """Return how likely each variant is beforehand: each circuit and coil as any other, and what
    may be built in several ways by their shares."""
    kinds: defaultdict[tuple[str, str], float] = defaultdict(float)
    for one in variants:
        kinds[one.circuit.id, one.coil] += one.share
    return [one.share / kinds[one.circuit.id, one.coil] / len(kinds) for one in variants]


class ModelStore:
    """Builds models on demand, each once, and keeps the last few; safe to share between threads.

    Machines that may have the same variant share what was solved of it.
    """

    def __init__(
        self, knowledge: Knowledge, most_bytes: int = MOST_BYTES,
        solved: Sequence[VariantModel] = (),
    ) -> None:  # fmt: skip
        """Keep models up to about ``most_bytes``; ``solved`` are variants with other shares."""
        np.empty(KEPT_BY_MALLOC, np.uint8)  # asked for, never touched, given back
        self._knowledge, self._most, self._solved = knowledge, most_bytes, list(solved)
        self._models: OrderedDict[Machine, Future[Model]] = OrderedDict()
        self._kinds: Kinds = {}
        self._lock = Lock()

    def get(self, machine: Machine) -> Model:
        """Return the machine's model. Who asks while it is being built waits for it."""
        with self._lock:
            found = self._models.get(machine)
            if found is not None:
                self._models.move_to_end(machine)
            else:
                mine = self._models[machine] = Future()
        if found is not None:
            return found.result()
        try:
            mine.set_result(self._build(machine))
        except BaseException as error:
            with self._lock:
                del self._models[machine]
            mine.set_exception(error)
            raise
        self._drop_oldest()
        return mine.result()

    def with_shares_of(self, knowledge: Knowledge) -> "ModelStore":
        """Return a store for knowledge that differs in its shares alone: what is solved stays."""
        with self._lock:
            solved = [*self._solved, *self._built()]
        newest = [
            one for place, one in enumerate(solved)
            if all(one.variant != later.variant for later in solved[place + 1 :])
        ]  # fmt: skip
        store = ModelStore(knowledge, self._most, newest)
        store._kinds = self._kinds
        store._drop_oldest()
        return store

    def _built(self) -> Iterator[VariantModel]:
        """Yield what is solved in the models that are kept, of each machine on its own."""
        for held in self._models.values():
            if held.done():
                yield from held.result().built

    def _drop_oldest(self) -> None:
        """Keep to the bytes allowed: what nobody asked for since shares were learned goes first."""
        with self._lock:
            done = [one for one, held in self._models.items() if held.done()]
            sizes = {one: self._models[one].result().nbytes for one in done}
            total = sum(sizes.values()) + sum(one.nbytes for one in self._solved)
            while total > self._most and self._solved:
                total -= self._solved.pop(0).nbytes
            for machine in done[:-1]:
                if total > self._most:
                    # a companion may refer to its model: both would wait for the garbage collector
                    self._models.pop(machine).result().companions.clear()
                    total -= sizes[machine]

    def _build(self, machine: Machine) -> Model:
        variants = variants_of(self._knowledge, machine)
        found = [self._variant(one) for one in variants]
        new = [one for one, known in zip(variants, found, strict=True) if known is None]
        solved = iter(build_variants(self._knowledge, new, self._kinds) if new else ())
        return combine(self._knowledge, machine, [one or next(solved) for one in found])

    def _variant(self, variant: Variant) -> VariantModel | None:
        """Return what is solved of a variant, with this store's shares, if anything is."""
        with self._lock:
            same = next((one for one in self._built() if one.variant == variant), None)
            waiting = [one for one in self._solved if one.variant == variant]
            self._solved = [one for one in self._solved if one.variant != variant]
        if same is not None:
            return same
        for one in waiting:
            return replace(one, prior=_prior(self._knowledge, variant, one.hypotheses))
        return None
