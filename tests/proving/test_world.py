"""Simulated machines: the same seed, the same machine; the same check, the same truth."""

import pytest

from engine.knowledge import load_knowledge
from engine.reasoning.request import read_request
from tests.proving.data import kb, own
from tests.proving.kits import KITS, findings
from tests.proving.machine import UNCALLED
from tests.proving.simulator import draw_machines, draw_one
from tests.sweeps import SLOW


def test_every_cause_has_its_fault() -> None:
    """The proving ground can break a machine in each way that the knowledge base knows."""
    known = set(kb("causes")) - set(UNCALLED)
    assert set(own("faults")) == known


def test_every_reading_has_its_probe() -> None:
    """The simulated technician knows where each reading of the knowledge base is taken."""
    readings = {n for n, c in kb("checks").items() if "unit" in c["result"]}
    assert set(own("probes")) | {"pull-pulse-seconds"} == readings


def test_same_seed_same_machines() -> None:
    """Two draws with one seed answer alike, and another seed does not."""

    def tell(seed: int) -> list[object]:
        return [(one.cause, one.told, findings(one, "all")) for one in draw_machines(6, seed)]

    assert tell(5) == tell(5)
    assert tell(5) != tell(6)


def test_a_machine_does_not_depend_on_how_many_are_drawn() -> None:
    """Machine 3 is the same whether drawn with those before it or by itself."""
    four, alone = draw_machines(4, 9)[3], draw_machines(1, 9, start=3)[0]
    assert (four.cause, four.told) == (alone.cause, alone.told)
    assert findings(four, "all") == findings(alone, "all")


def test_order_of_asking_changes_no_truth() -> None:
    """Outcomes do not depend on what was asked before."""
    one, other = draw_one(2, 4), draw_one(2, 4)
    checks = one.checks(KITS["lamp-bench"][0])
    forward = {check: one.ask(check) for check in checks}
    backward = {check: other.ask(check) for check in reversed(checks)}
    assert {c: f["outcome"] for c, f in forward.items() if "table" not in c} == {
        c: f["outcome"] for c, f in backward.items()
    }


def test_a_new_part_is_told_of_only_where_one_was_fitted() -> None:
    """Nobody says what a new solenoid changed on a machine that has its old one."""
    told = []
    for number in range(40):
        machine = draw_one(number, 4, cause="wrong-voltage-part")
        done = machine.ask("recent-work")["outcome"]
        if done != "not-known" and machine.ask("since-the-part")["outcome"] != "not-known":
            told.append(done)
    assert len(told) > 10
    slips = sum(one != "solenoid-replaced" for one in told)
    assert slips <= len(told) / 4  # who answers wrongly, as with every question


def test_asked_again_a_reading_differs_by_its_noise_alone() -> None:
    """A voltage read twice differs by less than 5 % of full scale and not always by nothing."""
    machine = draw_one(0, 21, cause="pull-winding-open")
    values = [machine.ask("battery-voltage-rest") for _ in range(6)]
    if all("value" in one for one in values):
        numbers = [one["value"] for one in values]
        assert 0 < max(numbers) - min(numbers) < 0.05 * 24


@pytest.mark.parametrize("seed", range(10 if SLOW else 1))
def test_the_engine_takes_every_finding(seed: int) -> None:
    """Whatever a simulated person reports is a request that the engine's gate lets in."""
    knowledge = load_knowledge()
    for machine in draw_machines(15, seed):
        read_request({"machine": machine.told, "findings": findings(machine, "all")}, knowledge)


def test_every_cause_can_be_called_about() -> None:
    """For each cause some machine shows something that a caller complains about."""
    for cause in own("faults"):
        assert draw_one(0, 1, cause=cause).cause == cause
