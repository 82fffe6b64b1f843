"""How much the facts themselves can say: a general-purpose classifier, trained per kit.

Extra trees, trained on machines of the same generator and other seeds, and asked about the very
machines of a run: an estimate from below of what any reasoner could reach with these findings. A
pair is learned by its first cause, and right with either. Needs scikit-learn (the ``proving``
extra).
"""

import hashlib
import importlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.proving.data import kb, own
from tests.proving.features import Features
from tests.proving.kits import KITS
from tests.proving.roughness import NOT_LISTED, Roughness
from tests.proving.score import Share
from tests.proving.simulator import SimulatedMachine, draw_machines

TRAIN = 3000
TRAIN_SEED = 1001  # no run may have it: its machines would be asked about what they taught
TREES = 400
FILL = -7.77  # a missing value: a number that no column has
CHUNK = 50
Table = dict[str, NDArray[Any]]
Job = tuple[int, int, int, Roughness, tuple[str, ...]]  # start, count, seed, rough, kits


class MissingExtraError(Exception):
    """scikit-learn is not installed."""


def rows(job: Job) -> Table:
    """Return each kit's rows of some machines, their causes (columns 0 and 1) and their group."""
    start, count, seed, rough, kits = job
    machines = draw_machines(count, seed, rough, start)
    found: Table = {kit: _rows(machines, kit) for kit in kits}
    found["causes"] = np.array([[one.causes[0], one.causes[-1]] for one in machines])
    found["group"] = np.array([one.group for one in machines])
    return found


def _rows(machines: Sequence[SimulatedMachine], kit: str) -> NDArray[np.float64]:
    kinds, bench = KITS[kit]
    checks = [name for name, one in kb("checks").items()
              if one["kind"] in kinds and (bench or name != "bench-pull")]  # fmt: skip
    features = Features(checks)
    whole = features.matrix([features.row(one, kit) for one in machines])
    return np.nan_to_num(whole, nan=FILL).astype(np.float32)


def jobs(count: int, seed: int, rough: Roughness, kits: Sequence[str]) -> list[Job]:
    """Return the pieces of work that make a table."""
    return [(start, min(CHUNK, count - start), seed, rough, tuple(kits))
            for start in range(0, count, CHUNK)]  # fmt: skip


def joined(tables: Sequence[Table]) -> Table:
    """Return one table of several."""
    return {name: np.concatenate([one[name] for one in tables]) for name in tables[0]}


def fingerprint(rough: Roughness, kits: Sequence[str], train: int) -> str:
    """Return a key of everything that the training machines depend on."""
    parts = [repr((rough, tuple(kits), train, TRAIN_SEED))]
    parts += [json.dumps(own(name), sort_keys=True, default=str)
              for name in ("world", "faults", "unlisted", "probes", "context")]  # fmt: skip
    parts += [json.dumps(kb(name), sort_keys=True, default=str)
              for name in ("causes", "circuits", "checks")]  # fmt: skip
    package = Path(__file__).parent
    parts += [
        (package / f"{name}.py").read_text(encoding="utf-8")
        for name in ("machine", "electrics", "network", "roughness", "story", "sayings",
                     "simulator", "features", "kits")
    ]  # fmt: skip
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def trained_on(
    rough: Roughness, kits: Sequence[str], folder: Path,
    work: Callable[[list[Job]], list[Table]], train: int = TRAIN,
) -> Table:  # fmt: skip
    """Return the table of the training machines, kept in ``folder`` as long as it holds."""
    place = folder / f"bound-{fingerprint(rough, kits, train)}.npz"
    if place.exists():
        with np.load(place) as kept:
            return dict(kept)
    table = joined(work(jobs(train, TRAIN_SEED, rough, kits)))
    folder.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(place, allow_pickle=False, **table)
    return table


def estimate(learned: Table, asked: Table, kit: str) -> dict[str, Any]:
    """Return where the classifier has the true cause, by group and in all, with 95 % intervals.

    Raises MissingExtraError.
    """
    model = _model().fit(learned[kit], learned["causes"][:, 0])
    chances = model.predict_proba(asked[kit])
    ranked = model.classes_[np.argsort(-chances, axis=1, kind="stable")]
    hits = (ranked[:, :, None] == asked["causes"][:, None, :]).any(axis=2)
    found: dict[str, Any] = {"train": len(learned[kit])}
    for group in ("all", "single", "pair", NOT_LISTED):
        mine = hits[(asked["group"] == group) | (group == "all")]
        if len(mine):
            found[group] = {
                "first": Share(int(mine[:, 0].sum()), len(mine)).as_dict(),
                "first_three": Share(int(mine[:, :3].any(axis=1).sum()), len(mine)).as_dict(),
            }
    if NOT_LISTED in found and NOT_LISTED in model.classes_:
        found["not_listed"] = _not_listed(
            hits[asked["group"] == NOT_LISTED],
            chances[asked["group"] == "single", list(model.classes_).index(NOT_LISTED)],
        )
    return found


def _not_listed(true: NDArray[np.bool_], false: NDArray[np.float64]) -> dict[str, Any]:
    """Return how often it is seen where it is true, (machine, place), and believed where not.

    The classifier was taught these very faults: what knows of none of them can do less.
    """
    shares = {"true_first": true[:, 0], "true_first_two": true[:, :2].any(axis=1),
              "false_believed": false > 0.5}  # fmt: skip
    return {name: Share(int(one.sum()), len(one)).as_dict()
            for name, one in shares.items() if len(one)}  # fmt: skip


def check_extra() -> None:
    """Raise MissingExtraError when there is no classifier to be had."""
    _model()


def _model() -> Any:
    try:
        ensemble: Any = importlib.import_module("sklearn.ensemble")
    except ImportError as error:
        raise MissingExtraError from error
    return ensemble.ExtraTreesClassifier(TREES, min_samples_leaf=2, random_state=1)
