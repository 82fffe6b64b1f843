"""The identifiers that callers rely on, compared with the files of the knowledge base.

The table beside this file is the agreed list, kept apart from ``kb/`` on purpose: a renamed or
dropped file, a moved section or a changed scope shows here. The files are read as plain YAML, so
that these facts hold whatever the engine's loader does.
"""

from pathlib import Path
from typing import Any

import yaml

HERE = Path(__file__).parent
KB = HERE.parents[1] / "kb"
AGREED: dict[str, dict[str, dict[str, Any]]] = yaml.load(
    (HERE / "trade_ids.yaml").read_text(encoding="utf-8"), yaml.CSafeLoader
)


def read(kind: str, stem: str) -> dict[str, Any]:
    """Return the content of one knowledge file; raises OSError when there is none."""
    item = yaml.load((KB / kind / f"{stem}.yaml").read_text("utf-8"), yaml.CSafeLoader)
    assert isinstance(item, dict)
    return item


def scope(item: dict[str, Any]) -> list[dict[str, list[str]]]:
    """Return the duties and controls of an item, as sorted alternatives."""
    alternatives = item.get("applies_any", [item.get("applies")])
    return [
        {key: sorted(each[key]) for key in ("control", "duty") if key in each}
        for each in alternatives
    ]


def test_each_agreed_cause_is_there_as_agreed() -> None:
    """Every agreed cause has a file of its name with the agreed section, share and minutes."""
    for stem, agreed in AGREED["causes"].items():
        found = read("causes", stem)
        assert found["id"] == stem
        for key in ("section", "share", "minutes"):
            assert found[key] == agreed[key], (stem, key)


def test_each_agreed_cause_applies_where_agreed() -> None:
    """Every agreed cause applies to the agreed duties and control types and to no others."""
    for stem, agreed in AGREED["causes"].items():
        found = read("causes", stem)
        for key in ("applies", "applies_any"):
            assert found.get(key) == agreed.get(key), (stem, key)


def test_no_cause_stands_outside_the_agreed_list() -> None:
    """The knowledge base holds the agreed causes and no more: an extra one is agreed first."""
    assert {path.stem for path in (KB / "causes").glob("*.yaml")} == set(AGREED["causes"])


def test_each_agreed_check_is_there_as_agreed() -> None:
    """Every agreed check has a file of its name with the agreed kind, scope and minutes."""
    for stem, agreed in AGREED["checks"].items():
        found = read("checks", stem)
        assert found["id"] == stem
        for key in ("kind", "minutes"):
            assert found[key] == agreed[key], (stem, key)
        assert scope(found) == scope(agreed), stem


def test_the_agreed_list_is_whole() -> None:
    """The agreed list holds 61 named causes with healthy, outside and not-listed beside them, and
    60 checks."""
    assert (len(AGREED["causes"]), len(AGREED["checks"])) == (64, 60)
