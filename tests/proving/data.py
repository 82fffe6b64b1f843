"""The proving ground's data: its own YAML, and what it reads of kb/ as plain data."""

import importlib.resources
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

Row = Mapping[str, Any]


@lru_cache(maxsize=16)
def own(name: str) -> dict[str, Any]:
    """Return one of the proving ground's own files."""
    text = (Path(__file__).parent / f"{name}.yaml").read_text(encoding="utf-8")
    loaded: dict[str, Any] = yaml.load(text, Loader=yaml.CSafeLoader)
    return loaded


@lru_cache(maxsize=16)
def kb(folder: str) -> dict[str, dict[str, Any]]:
    """Return the items of a folder of kb/ by id, as plain data."""
    place = importlib.resources.files("kb") / folder
    found = {}
    for entry in sorted(place.iterdir(), key=lambda one: one.name):
        if entry.name.endswith(".yaml"):
            item = yaml.load(entry.read_text(encoding="utf-8"), Loader=yaml.CSafeLoader)
            found[item["id"]] = item
    return found


def circuit(duty: str, control: str) -> dict[str, Any]:
    """Return the circuit of a duty and control: parts (by id) and what each phase makes."""
    own_part = kb("circuits")[f"{duty}-{control}"]
    base = kb("circuits")[own_part["base"]]
    parts = {part["id"]: part for part in [*base["parts"], *own_part["parts"]]}
    phases = {phase["id"]: phase for phase in own_part["phases"]}
    return {"parts": parts, "phases": phases, "brings": own_part["brings"]}


def applies(item: Row, machine: Row) -> bool:
    """Return whether a cause or check of kb/ is for a machine (coil unknown fits both)."""
    alternatives = item.get("applies_any", [item.get("applies", {})])
    return any(
        all(machine.get(key) in (None, "unknown", *allowed) for key, allowed in one.items())
        for one in alternatives
    )
