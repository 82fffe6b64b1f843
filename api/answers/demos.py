"""The worked cases of the invented hire yard that come with the package."""

from dataclasses import dataclass
from importlib import resources

from api.strict_json import JsonObject
from engine.knowledge.text import load_yaml

DEFAULT = "loader-ground-paint"


@dataclass(frozen=True)
class Demo:
    """One worked case: what happened, and the request that tells it to the engine."""

    id: str
    title: str
    story: str
    request: JsonObject


def load_all() -> list[Demo]:
    """Return the demo cases, the default one first, the others by id."""
    folder = resources.files("api.answers").joinpath("demo")
    found = [
        Demo(**load_yaml(file.read_text(encoding="utf-8"), file.name))
        for file in folder.iterdir()
        if file.name.endswith(".yaml")
    ]
    return sorted(found, key=lambda demo: (demo.id != DEFAULT, demo.id))
