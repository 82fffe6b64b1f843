"""A shop's own folder of knowledge, made for a test."""

from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

import yaml

from engine import Knowledge


class _Plain(yaml.SafeDumper):
    """Writes equal parts out twice: the loader takes no aliases."""

    def ignore_aliases(self, data: Any) -> bool:
        """Say that no part is written as an alias."""
        return True


class Shop:
    """A shop's own folder of knowledge, written file by file."""

    def __init__(self, folder: Path, knowledge: Knowledge) -> None:
        self.folder = folder
        self._knowledge = knowledge
        folder.mkdir()

    def like(self, kind: str, name: str) -> dict[str, Any]:
        """Return the data of a shipped item, to be changed."""
        item = getattr(self._knowledge, kind)[name]
        data: dict[str, Any] = deepcopy(item.as_dict())
        return data

    def put(self, path: str, data: Mapping[str, Any] | str) -> Path:
        """Write a file of the folder from data, or as the text stands."""
        file = self.folder / path
        file.parent.mkdir(parents=True, exist_ok=True)
        text = (
            data if isinstance(data, str) else yaml.dump(dict(data), Dumper=_Plain, sort_keys=False)
        )
        file.write_text(text, encoding="utf-8")
        return file

    def rule(self, name: str, family: str, when: list[Any], then: list[Any]) -> dict[str, Any]:
        """Write a rule and return its data."""
        data = {
            "id": name, "family": family, "title": "A rule of the shop", "when": when, "then": then,
            "because": {"found": "It was found.", "points": "It points there.", "next": "Do that."},
            "source": "judgement",
        }  # fmt: skip
        self.put(f"rules/{family}/{name}.yaml", data)
        return data


def both_ends_corroded(shop: Shop, confirmed_by: list[str]) -> None:
    """Write a cause that differs from all others: feed and ground are resistive at once."""
    cause = shop.like("causes", "ground-resistive") | {"id": "both-ends", "name": "Both ends"}
    ohms = {"from": 0.5, "to": 2}
    changes = [{"part": "ground", "add_ohms": ohms}, {"part": "fuse", "add_ohms": ohms}]
    cause["states"][0]["changes"] = changes
    shop.put("causes/both-ends.yaml", cause | {"confirmed_by": confirmed_by})
