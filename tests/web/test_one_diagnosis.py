"""A posted diagnosis is one diagnosis."""

from typing import Any

import pytest

from api import create_app
from engine import Diagnoser


def test_a_posted_diagnosis_is_worked_out_once(
    diagnoser: Diagnoser, case: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """POST /v1/diagnoses goes through ``Diagnoser.answer`` exactly once."""
    asked = []
    real = Diagnoser.answer

    def counted(self: Diagnoser, request: Any) -> Any:
        asked.append(request)
        return real(self, request)

    app = create_app({"KNOWLEDGE": diagnoser.knowledge, "DIAGNOSER": diagnoser})
    monkeypatch.setattr(Diagnoser, "answer", counted)
    assert app.test_client().post("/v1/diagnoses", json=case).status_code == 200
    assert len(asked) == 1
