"""The questions about the machine, read from ``questions.yaml``."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from gettext import NullTranslations
from importlib import resources
from typing import Any

from api.interview.state import OF_THE_CALL
from api.interview.turn import Choice, Prompt
from api.translation import SHOWN, gettext, reader
from engine.knowledge.text import load_yaml


@dataclass(frozen=True)
class Question:
    """One question about the machine; ``number`` is the unit of one that takes a number."""

    id: str
    name: str
    ask: str
    why: str
    unsure: str = ""
    options: tuple[Choice, ...] = ()
    number: str = ""
    needs: tuple[tuple[str, Any], ...] = ()
    volunteered: bool = False  # not asked at the terminal, but taken by ``add``

    def applies(self, fields: Mapping[str, Any]) -> bool:
        """Return whether the machine, as far as it is known, has this question."""
        return all(fields.get(key) == value for key, value in self.needs)

    @property
    def apart(self) -> bool:
        """Return whether the interview does not ask it, but takes it by ``add``."""
        return self.volunteered or bool(self.number)

    @property
    def prompt(self) -> Prompt:
        """Return how the question is answered."""
        if self.options:
            return Prompt("choice", self.options)
        if self.number:
            return Prompt("number", unit=self.number)
        return Prompt("text", unsure=False, empty=True)

    def words(self, value: Any) -> str:
        """Return a recorded answer in words."""
        if value is None:
            return gettext("not known") if self.id != "label" else gettext("not said")
        chosen = (one.words for one in self.options if one.value == value)
        if self.number:
            return f"{value:g} {self.number}"
        return next(chosen, ", ".join(value) if isinstance(value, list) else str(value))


def questions() -> tuple[Question, ...]:
    """Return the questions in the order in which they are asked, in the reader's language."""
    return _questions(reader())


@lru_cache(maxsize=8)
def _questions(texts: NullTranslations) -> tuple[Question, ...]:
    file = resources.files("api.interview").joinpath("questions.yaml")
    return tuple(_question(one, texts) for one in load_yaml(file.read_text("utf-8"), file.name))


def _question(raw: Mapping[str, Any], texts: NullTranslations) -> Question:
    said = {key: texts.gettext(raw[key]) for key in SHOWN if key in raw}
    options = tuple(
        Choice(str(place), texts.gettext(one["words"]), one["value"])
        for place, one in enumerate(raw.get("options", ()), start=1)
    )
    needs = tuple(raw.get("needs", {}).items())
    return Question(**{**raw, **said, "options": options, "needs": needs})


def question(field: str, fields: Mapping[str, Any]) -> Question:
    """Return the question about a field, as this machine has it."""
    mine = [one for one in questions() if one.id == field]
    return next((one for one in mine if one.applies(fields)), mine[0])


def machine_words(fields: Mapping[str, Any]) -> list[str]:
    """Return what is known of the machine, one line each; control and coil even where not."""
    known = {key: value for key, value in fields.items() if value is not None}
    asked = dict.fromkeys(one.id for one in questions() if one.id not in OF_THE_CALL)
    return [
        gettext("%(name)s: %(words)s", name=about.name, words=about.words(known.get(key)))
        for key in asked
        if key in known or key in ("control", "coil")
        for about in [question(key, fields)]
    ]


def next_question(fields: Mapping[str, Any]) -> Question | None:
    """Return the first question that is still open, or None."""
    for one in questions():
        if not one.apart and one.id not in fields and one.applies(fields):
            return one
    return None


def settings() -> dict[str, Question]:
    """Return the questions that are not asked but taken by ``add``, by their typed name."""
    return {one.id.replace("_", "-"): one for one in questions() if one.apart}
