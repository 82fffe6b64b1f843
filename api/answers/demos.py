"""The worked cases of the invented hire yard that come with the package."""

from dataclasses import dataclass
from importlib import resources
from typing import TypeVar

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


Kind = TypeVar("Kind")


def load_all() -> list[Demo]:
    """Return the demo cases, the default one first, the others by id."""
    return loaded("api.answers", Demo, DEFAULT)


def loaded(package: str, kind: type[Kind], default: str) -> list[Kind]:
    """Return what a package's folder ``demo`` holds, one a file; ``default`` first, then by id."""
    folder = resources.files(package).joinpath("demo")
    texts = {
        file.name.removesuffix(".yaml"): load_yaml(file.read_text(encoding="utf-8"), file.name)
        for file in folder.iterdir()
        if file.name.endswith(".yaml")
    }
    return [kind(**texts[name]) for name in sorted(texts, key=lambda one: (one != default, one))]
