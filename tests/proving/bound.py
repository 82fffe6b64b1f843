"""How much the facts themselves can say: a general-purpose classifier, trained per kit.

Trained on machines of the same generator and tested on fresh ones: an estimate from below of what
any reasoner could reach with these checks. Needs scikit-learn (the ``proving`` extra).
"""

import hashlib
import importlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tests.proving.data import kb, own
from tests.proving.features import Features
from tests.proving.kits import KITS, findings
from tests.proving.score import Share
from tests.proving.simulator import SimulatedMachine, draw_machines

TRAIN, TEST = 8000, 2000
TRAIN_SEED, TEST_SEED = 1001, 2002
TREES = 400
FILL = -7.77  # a missing value: a number that no column has


class MissingExtraError(Exception):
    """scikit-learn is not installed."""


def _models() -> list[Any]:
    try:
        ensemble: Any = importlib.import_module("sklearn.ensemble")
    except ImportError as error:
        raise MissingExtraError from error
    return [
        kind(TREES, min_samples_leaf=2, n_jobs=-1, random_state=1)
        for kind in (ensemble.RandomForestClassifier, ensemble.ExtraTreesClassifier)
    ]


def _table(machines: Sequence[SimulatedMachine], kit: str) -> Any:
    kinds, bench = KITS[kit]
    checks = [name for name, one in kb("checks").items()
              if one["kind"] in kinds and (bench or name != "bench-pull")]  # fmt: skip
    features = Features(checks)
    rows = [features.row(one.told, findings(one, kit)) for one in machines]
    return np.nan_to_num(features.matrix(rows), nan=FILL)


def estimate(kit: str, train: int = TRAIN, test: int = TEST) -> dict[str, Any]:
    """Return first and first three of the best classifier for a kit, with 95 % intervals.

    The forests' chances are averaged with each other. Raises MissingExtraError.
    """
    models = _models()
    learned, fresh = draw_machines(train, TRAIN_SEED), draw_machines(test, TEST_SEED)
    table, names = _table(learned, kit), np.array([one.cause for one in learned])
    asked, truth = _table(fresh, kit), [one.cause for one in fresh]
    chances = sum(model.fit(table, names).predict_proba(asked) for model in models)
    order = np.argsort(-chances, axis=1, kind="stable")
    ranked = models[0].classes_[order]
    first = sum(row[0] == name for row, name in zip(ranked, truth, strict=True))
    three = sum(name in row[:3] for row, name in zip(ranked, truth, strict=True))
    return {"first": Share(int(first), test).as_dict(), "train": train, "test": test,
            "first_three": Share(int(three), test).as_dict()}  # fmt: skip


def fingerprint(train: int, test: int) -> str:
    """Return a key of everything that the estimate depends on."""
    parts = [json.dumps([train, test, TREES, TRAIN_SEED, TEST_SEED])]
    parts += [json.dumps(own(name), sort_keys=True, default=str)
              for name in ("world", "faults", "probes", "context")]  # fmt: skip
    parts += [json.dumps(kb(name), sort_keys=True, default=str)
              for name in ("causes", "circuits", "checks")]  # fmt: skip
    package = Path(__file__).parent
    parts += [
        (package / f"{name}.py").read_text(encoding="utf-8")
        for name in ("machine", "electrics", "network", "story", "sayings", "simulator", "features")
    ]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def cached(kits: Sequence[str], folder: Path, train: int = TRAIN, test: int = TEST) -> Any:
    """Return the estimates of some kits, kept in ``folder``/bound.json as long as they hold."""
    key, place = fingerprint(train, test), folder / "bound.json"
    kept = json.loads(place.read_text(encoding="utf-8")) if place.exists() else {}
    if kept.get("of") != key:
        kept = {"of": key, "kits": {}}
    for kit in kits:
        if kit not in kept["kits"]:
            kept["kits"][kit] = estimate(kit, train, test)
            folder.mkdir(parents=True, exist_ok=True)
            place.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    return {kit: kept["kits"][kit] for kit in kits}
