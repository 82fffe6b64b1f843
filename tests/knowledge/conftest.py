"""Directories of knowledge laid over the shipped base, made from a mapping of paths to texts."""

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from engine.knowledge import Fault, KnowledgeError, load_knowledge

KB = Path(__file__).parents[2] / "kb"


@pytest.fixture(scope="session")
def shipped_text() -> Callable[[str], str]:
    """Give a function that returns the text of a shipped file, such as ``causes/x.yaml``."""
    return lambda path: (KB / path).read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def overlay(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Mapping[str, str]], Path]:
    """Give a function that writes files into a new directory called ``shop``."""

    def make(files: Mapping[str, str]) -> Path:
        root = tmp_path_factory.mktemp("overlay") / "shop"
        root.mkdir()
        for name, text in files.items():
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            (root / name).write_text(text, encoding="utf-8")
        return root

    return make


@pytest.fixture(scope="session")
def faults_of(overlay: Callable[[Mapping[str, str]], Path]) -> Callable[..., list[Fault]]:
    """Give a function that lays files over the base and returns the faults, which must be some."""

    def load(files: Mapping[str, str]) -> list[Fault]:
        with pytest.raises(KnowledgeError) as caught:
            load_knowledge([overlay(files)])
        return caught.value.faults

    return load
