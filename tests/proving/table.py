"""The proving ground's figures as a table for the terminal."""

from collections.abc import Mapping
from typing import Any

KIT_WORDS = {
    "ask": "ask only", "ask-look-try": "ask, look, try",
    "lamp-bench": "and lamp, bench pull", "all": "every check",
}  # fmt: skip
STRATEGY_WORDS = {
    "advice": "threewire's advice", "fixed-order": "fixed order of parts",
    "likeliest-part": "likeliest part first", "repair-alone": "the right repair alone",
}  # fmt: skip


def _share(one: Mapping[str, float]) -> str:
    return f"{one['share']:.3f} ({one['low']:.3f}-{one['high']:.3f})"


def lines(data: Mapping[str, Any]) -> list[str]:
    """Return the lines of the table."""
    found = [f"{data['machines']} simulated machines, seed {data['seed']}", ""]
    for kit, one in data["kits"].items():
        found += _kit(kit, one)
    if data["strategies"]:
        found += _strategies(data["strategies"], data.get("first_time_bound"))
    return found


def _kit(kit: str, one: Mapping[str, Any]) -> list[str]:
    """Return the lines of one kit."""
    found = [
        f"{KIT_WORDS[kit]}",
        f"  true cause first        {_share(one['first'])}",
        f"  first, or tied for it   {_share(one['first_or_tied'])}",
        f"  in the first three      {_share(one['first_three'])}",
    ]
    if "bound" in one:
        found += [
            f"  classifier's bound      {_share(one['bound']['first'])} first",
            f"                          {_share(one['bound']['first_three'])} in the first three",
        ]
    found += [
        f"  Brier score             {one['brier']:.3f}  even chances {one['uniform'][0]:.3f}, "
        f"shares alone {one['prior'][0]:.3f}",
        f"  log loss                {one['log_loss']:.3f}  even chances {one['uniform'][1]:.3f}, "
        f"shares alone {one['prior'][1]:.3f}",
        f"  calibration error       {one['calibration_error']:.3f}  exact forecasts would show "
        "{:.3f}, at most {:.3f} in 95 %".format(*one["calibration_by_chance"]),
        f"  unsafe answers          {_share(one['unsafe'])}",
        f"  true cause uncovered    {_share(one['uncovered'])}",
    ]
    for field, parts in one["by"].items():
        words = [f"{value} {part['first_or_tied']['share']:.2f}" for value, part in parts.items()]
        found.append(f"  first by {field.replace('_', ' '):15}{', '.join(words)}")
    worst = [
        f"{w['cause']} {w['missed']}/{w['machines']} ({w['led_instead']})"
        for w in one["worst_causes"][:5] if w["missed"]
    ]  # fmt: skip
    found.append(f"  worst causes            {'; '.join(worst) or 'none'}")
    found += [f"  unsafe: {words}" for words in one["unsafe_words"][:5]]
    return [*found, ""]


def _strategies(strategies: Mapping[str, Any], bound: Mapping[str, float] | None) -> list[str]:
    """Return the lines of the strategies; ``bound`` of the first-time fix, where it is known."""
    head = f"{'from complaint to fix':26}{'minutes':>8}  {'95 %':16}{'checks':>7}"
    found = [f"{head}  first-time fix"]
    for name, one in strategies.items():
        limits = f"{one['low']:.0f}-{one['high']:.0f}"
        found.append(
            f"  {STRATEGY_WORDS[name]:24}{one['minutes']:>8.1f}  {limits:16}{one['checks']:>7.1f}  "
            f"{_share(one['first_time_fix'])}"
        )
    if bound is not None:
        words = "bound: the true cause leads once every check is done"
        found.append(f"  {words:60}{_share(bound)}")
    if {"advice", "fixed-order"} <= set(strategies):
        ratio = strategies["advice"]["minutes"] / strategies["fixed-order"]["minutes"]
        found.append(f"  advice over fixed order {ratio:>8.2f}")
    return found
