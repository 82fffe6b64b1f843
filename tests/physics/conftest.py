"""The shipped base and its machines, for the engine's tests."""

from collections.abc import Callable

import pytest

from engine.knowledge import Knowledge
from engine.physics.machine import Machine, Variant, make_variant

CONTROLS = {"timed": "ignition-timed", "crank": "controller-on-crank",
            "request": "controller-on-request"}  # fmt: skip


@pytest.fixture(scope="session")
def variant(knowledge: Knowledge) -> Callable[..., Variant]:
    """Give a function that returns a variant: timed, crank, request or brake-timed."""

    def make(
        kind: str = "crank", coil: str = "body-ground", volts: int = 12, **said: float
    ) -> Variant:
        control = CONTROLS[kind.removeprefix("brake-")]
        brake = kind.startswith("brake-") or kind == "request"
        duty = "brake-release" if brake else "fuel-shutoff"
        machine = Machine(duty, control, coil, volts, **said)  # type: ignore[arg-type]
        return make_variant(machine, knowledge.circuits[f"{duty}-{control}"], coil)

    return make
