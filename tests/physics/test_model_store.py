"""Models of machines: each built once, kept within bounds, reused when shares alone change."""

import gc
import weakref
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from threading import Barrier

import numpy as np
import pytest
from numpy.testing import assert_allclose as close

from engine import Diagnoser, Knowledge, with_learning
from engine.physics import model as model_module
from engine.physics.machine import Machine
from engine.physics.model import ModelStore, build_variants
from engine.physics.prediction import ReadingPrediction

CRANK = ("fuel-shutoff", "controller-on-crank", "body-ground")


@pytest.fixture
def built(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """What is built while a test runs."""
    found: list[object] = []
    real = model_module.build_variants

    def counted(*given: object) -> object:
        found.append(given)
        return real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(model_module, "build_variants", counted)
    return found


def test_four_who_ask_at_once_have_one_model_built(
    knowledge: Knowledge, built: list[object]
) -> None:
    """Four simultaneous requests for a new machine build it once and get the same model."""
    start, store = Barrier(4), ModelStore(knowledge)

    def ask(_: int) -> object:
        start.wait()
        return store.get(Machine(*CRANK))

    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(ask, range(4)))
    assert len(built) == 1
    assert all(one is found[0] for one in found)


def test_a_model_that_cannot_be_built_is_asked_for_again(
    knowledge: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A failure while building is told, and not kept."""
    store, real = ModelStore(knowledge), model_module.build_variants
    monkeypatch.setattr(model_module, "build_variants", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        store.get(Machine(*CRANK))
    monkeypatch.setattr(model_module, "build_variants", real)
    assert store.get(Machine(*CRANK)).hypotheses


@pytest.mark.parametrize("volts", [12, 24])
def test_kinds_known_from_other_machines_are_solved_as_if_new(
    knowledge: Knowledge, volts: int
) -> None:
    """What a store worked out for machines of a kind, and variants solved side by side, change
    nothing about a machine with other figures."""
    first = Machine("fuel-shutoff", "unknown", "unknown", volts)
    second = replace(first, pull_ohms=0.31, hold_ohms=9.0, ambient_celsius=-15.0, fuse_amps=20.0)
    store = ModelStore(knowledge)
    store.get(first)
    for one in store.get(second).built:
        (alone,) = build_variants(knowledge, [one.variant])
        assert one.hypotheses == alone.hypotheses
        for name, mine in alone.predictions.items():
            other = one.predictions[name]
            if isinstance(mine, ReadingPrediction):
                assert isinstance(other, ReadingPrediction)
                close(other.mu, mine.mu, rtol=1e-12, atol=1e-12)
                close(other.tolerance_var, mine.tolerance_var, rtol=1e-6)
            else:
                close(other.bins, mine.bins, rtol=1e-9, atol=1e-12)


def test_models_are_kept_within_the_bytes_given(knowledge: Knowledge) -> None:
    """With room for two machines the one that was asked for longest ago is built again."""
    machines = [Machine(*CRANK, ambient_celsius=celsius) for celsius in (1.0, 2.0, 3.0)]
    size = ModelStore(knowledge).get(machines[0]).nbytes
    store = ModelStore(knowledge, int(size * 2.5))
    first, second, third = (store.get(one) for one in machines)
    assert store.get(machines[2]) is third
    assert store.get(machines[1]) is second
    assert store.get(machines[0]) is not first


def test_what_is_dropped_is_freed_at_once(knowledge: Knowledge) -> None:
    """A companion refers to its model, as an adviser does: neither waits for the collector."""
    machines = [Machine(*CRANK, ambient_celsius=celsius) for celsius in (1.0, 2.0, 3.0)]
    store = ModelStore(knowledge, 1)
    dropped = store.get(machines[0])
    dropped.companions["adviser"] = [dropped]
    gone = weakref.ref(dropped)
    gc.disable()
    try:
        del dropped
        for machine in machines[1:]:
            store.get(machine)
        assert gone() is None
    finally:
        gc.enable()


def test_a_model_dropped_while_it_is_asked_answers(knowledge: Knowledge) -> None:
    """Another thread may make the store drop a model, which empties it, between two looks at it."""
    model = ModelStore(knowledge).get(Machine(*CRANK))

    class Key:
        looks = 0

        def __hash__(self) -> int:
            self.looks += 1
            if self.looks == 4:  # kept after two looks, asked for again at the third
                model.companions.clear()
            return 1

        def __eq__(self, other: object) -> bool:
            return self is other

    key = Key()
    assert model.kept(key, lambda: "first") == "first"
    assert model.kept(key, lambda: "anew") == "first"


def test_other_shares_do_not_solve_a_machine_again(
    diagnoser: Diagnoser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After learning, a machine already solved gets new priors, as if it had been solved anew."""
    knowledge, machine = diagnoser.knowledge, Machine(*CRANK)
    diagnoser.models.get(machine)
    outcomes = [{"circuit": "fuel-shutoff-controller-on-crank", "cause": "fuse-open", "count": 50}]
    learned = with_learning(knowledge, outcomes)
    anew = ModelStore(learned).get(machine)
    monkeypatch.setattr(model_module, "build_variants", lambda *_: 1 / 0)
    found = diagnoser.with_shares_of(learned).models.get(machine)
    assert np.array_equal(found.prior, anew.prior)
    assert not np.array_equal(found.prior, diagnoser.models.get(machine).prior)


def test_machines_waiting_for_new_shares_count_as_well(
    knowledge: Knowledge, built: list[object]
) -> None:
    """Shares learned again and again, each time after another machine, keep no more than one."""
    machines = [Machine(*CRANK, ambient_celsius=celsius) for celsius in (1.0, 2.0, 3.0)]
    store = ModelStore(knowledge)
    store = ModelStore(knowledge, int(store.get(machines[0]).nbytes * 1.5))
    for machine in machines:
        store.get(machine)
        store = store.with_shares_of(knowledge)
    built.clear()
    for machine in reversed(machines):
        store.get(machine)
    assert len(built) == 2


def test_a_machine_known_better_is_not_solved_again(
    knowledge: Knowledge, built: list[object]
) -> None:
    """Once the coil style is known, what was solved while it was not is used, to the last digit."""
    store, machine = ModelStore(knowledge), Machine(*CRANK)
    store.get(Machine(CRANK[0], CRANK[1], "unknown"))
    built.clear()
    found = store.get(machine)
    assert built == []
    anew = ModelStore(knowledge).get(machine)
    assert np.array_equal(found.prior, anew.prior)
    assert found.predictions.keys() == anew.predictions.keys()
