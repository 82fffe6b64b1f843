"""Random requests from a seed: every kind of machine, sensible findings and senseless ones."""

from collections.abc import Iterator
from typing import Any

from engine.diagnosis import shipped
from tests.reference import draws


def random_requests(count: int, seed: int = 20261128) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield requests with a name, the same for the same seed and knowledge."""
    diagnoser = shipped()
    rng = draws.generator(seed)
    for number in range(count):
        machine = draws.machine(rng, unknowns=True)
        model = diagnoser.models.get(machine)
        found = draws.findings(rng, diagnoser.knowledge, model, rng.randint(0, 10))
        request = {"machine": draws.as_request(machine), "findings": found}
        if rng.random() < 0.3:
            request["on_hand"] = rng.sample(["ask", "look", "try", "lamp", "meter", "clamp"], 3)
        yield f"random[{number}]", request
