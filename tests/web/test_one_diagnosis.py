"""How many diagnoses a request costs."""

from collections.abc import Callable
from typing import Any

import pytest

from engine import Diagnoser


def test_a_posted_diagnosis_is_worked_out_once(
    post: Callable[..., Any], case: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """POST /v1/diagnoses goes through ``Diagnoser.answer`` exactly once."""
    asked = []
    real = Diagnoser.answer

    def counted(self: Diagnoser, request: Any) -> Any:
        asked.append(request)
        return real(self, request)

    monkeypatch.setattr(Diagnoser, "answer", counted)
    assert post(case).status_code == 200
    assert len(asked) == 1
