"""Plots of a run, PNG and SVG. Needs matplotlib (the ``proving`` extra)."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tests.proving import measures
from tests.proving.bound import MissingExtraError
from tests.proving.run import Results
from tests.proving.score import by
from tests.proving.table import KIT_WORDS, STRATEGY_WORDS


def _pyplot() -> Any:
    try:
        import matplotlib
    except ImportError as error:
        raise MissingExtraError from error
    matplotlib.use("Agg")
    matplotlib.rcParams["svg.hashsalt"] = "threewire"
    from matplotlib import pyplot

    return pyplot


def write(results: Results, data: Mapping[str, Any], folder: Path) -> list[Path]:
    """Write reliability, ranking and minutes as PNG and SVG; returns the files."""
    plt = _pyplot()
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    drawings = {"reliability": _reliability, "ranking": _ranking}
    if data["strategies"]:
        drawings["minutes"] = _minutes
    for name, draw in drawings.items():
        figure, axes = plt.subplots(figsize=(7, 4.5), layout="constrained")
        draw(axes, results, data)
        for ending in ("png", "svg"):
            place = folder / f"{name}.{ending}"
            figure.savefig(place, dpi=120, metadata={"Date": None} if ending == "svg" else {})
            written.append(place)
        plt.close(figure)
    return written


def _reliability(axes: Any, results: Results, data: Mapping[str, Any]) -> None:
    axes.plot([0, 1], [0, 1], color="0.7", linewidth=1)
    for kit, rows in by(results.scored, "kit").items():
        bars = measures.reliability(
            [row.lead_chance for row in rows], [int(row.place == 1) for row in rows]
        )
        error = data["kits"][kit]["calibration_error"]
        axes.plot([b.said for b in bars], [b.came_true for b in bars], marker="o",
                  label=f"{KIT_WORDS[kit]} (error {error:.3f})")  # fmt: skip
    axes.set(xlabel="chance given to the lead cause", ylabel="share that was right",
             title="Reliability", xlim=(0, 1), ylim=(0, 1))  # fmt: skip
    axes.legend()


def _ranking(axes: Any, results: Results, data: Mapping[str, Any]) -> None:
    kits = list(data["kits"])
    series = [("first_or_tied", "true cause first", -0.3),
              ("first_three", "in the first three", 0.1)]  # fmt: skip
    for key, label, shift in series:
        ours = [data["kits"][kit][key] for kit in kits]
        heights = [one["share"] for one in ours]
        spread = [[one["share"] - one["low"] for one in ours],
                  [one["high"] - one["share"] for one in ours]]  # fmt: skip
        places = [number + shift for number in range(len(kits))]
        axes.bar(places, heights, 0.36, yerr=spread, capsize=3, label=label)
        if all("bound" in data["kits"][kit] for kit in kits):
            name = {"first_or_tied": "first"}.get(key, key)
            bound = [data["kits"][kit]["bound"]["all"][name]["share"] for kit in kits]
            axes.plot(places, bound, "k_", markersize=22,
                      label="classifier's bound" if key == "first_three" else None)  # fmt: skip
    axes.set_xticks(range(len(kits)), [KIT_WORDS[kit] for kit in kits])
    axes.set(ylim=(0, 1.05), ylabel="share of machines", title="Where the true cause stands")
    axes.legend(loc="lower right")


def _minutes(axes: Any, results: Results, data: Mapping[str, Any]) -> None:
    names = list(data["strategies"])
    rows = [data["strategies"][name] for name in names]
    spread = [[one["minutes"] - one["low"] for one in rows],
              [one["high"] - one["minutes"] for one in rows]]  # fmt: skip
    axes.barh([STRATEGY_WORDS[name] for name in names], [one["minutes"] for one in rows],
              xerr=spread, capsize=3)  # fmt: skip
    axes.invert_yaxis()
    axes.set(xlabel="minutes from the complaint to the confirmed fix", title="Minutes to the fix")
