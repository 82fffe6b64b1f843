"""Whatever stands in a file, the loader answers with faults or takes it; it never breaks down."""

import random
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml

from engine.knowledge import KnowledgeError, load_knowledge
from engine.knowledge.files import read_sources
from engine.knowledge.text import load_yaml
from tests.sweeps import SLOW, WHOLE

ODD: tuple[Any, ...] = (
    None, True, False, 0, -1, 5, 1e9, 10**25, "", "x", "open", "yes", "above x", "above 5",
    "{bad", "{", "{0}", "{when.x}", [], {}, [1], ["x"], [[]], [{}], {"a": 1}, {"x": None},
    {"from": 1, "to": 2}, {"from": 0, "to": 2}, {"any": []}, {"note": True},
)  # fmt: skip
SOURCES, _, _ = read_sources()


def places(content: Any) -> Iterator[tuple[Any, Any]]:
    """Yield every container in plain data with each of its keys or indexes."""
    if isinstance(content, (dict, list)):
        for key in list(content) if isinstance(content, dict) else range(len(content)):
            yield content, key
            yield from places(content[key])


def spoil(content: Any, rng: random.Random) -> None:
    """Change one place: another value, nothing, or one more."""
    container, key = rng.choice(list(places(content)))
    act = rng.random()
    if act < 0.75:
        container[key] = rng.choice(ODD)
    elif act < 0.9:
        del container[key]
    elif isinstance(container, dict):
        container["odd"] = rng.choice(ODD)
    else:
        container.append(rng.choice(ODD))


@pytest.mark.parametrize("seed", range(6 if SLOW else 2 if WHOLE else 1))
def test_a_directory_of_spoiled_files(
    seed: int, overlay: Callable[[Mapping[str, str]], Path]
) -> None:
    """Forty files with one odd value each are refused with faults that name those files alone."""
    rng = random.Random(seed)  # noqa: S311 - no secret
    files = {}
    for source in rng.sample(SOURCES, k=40):
        if source.folder in ("tables", "circuits") and seed % 2:
            continue  # without these every other seed gets as far as the cross-references
        content = load_yaml(source.text, source.name)
        spoil(content, rng)
        files[f"{source.folder}/{source.stem}.yaml"] = yaml.safe_dump(content, sort_keys=False)
    with pytest.raises(KnowledgeError) as caught:
        load_knowledge([overlay(files)])
    blamed = {fault.path.split(":")[0].removeprefix("shop/") for fault in caught.value.faults}
    assert len(blamed & set(files)) > 10
