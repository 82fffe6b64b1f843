"""The proving ground's figures as a table for the terminal."""

from collections.abc import Mapping
from typing import Any

from tests.proving.measures import CALIBRATION_AIM

KIT_WORDS = {
    "ask": "ask only", "ask-look-try": "ask, look, try",
    "lamp-bench": "and lamp, bench pull", "all": "every check",
}  # fmt: skip
STRATEGY_WORDS = {
    "advice": "threewire's advice", "fixed-order": "fixed order of parts",
    "likeliest-part": "likeliest part first", "repair-alone": "the right repair alone",
}  # fmt: skip

GROUP_WORDS = {"single": "one listed fault", "pair": "two faults", "not-listed": "not in the base"}
NOT_LISTED_WORDS = {
    "true_first": '"not listed" first where it is true', "true_first_two": "  first or second",
    "false_believed": '"not listed" over .5, one listed fault',
    "pair_believed": '"not listed" over .5, two faults',
    "pair_both_in_three": "both of two faults in the first three",
}  # fmt: skip


def _share(one: Mapping[str, float]) -> str:
    return f"{one['share']:.3f} ({one['low']:.3f}-{one['high']:.3f})"


def _beside(bound: Mapping[str, float] | None) -> str:
    return "" if bound is None else f"   bound {_share(bound)}"


def lines(data: Mapping[str, Any]) -> list[str]:
    """Return the lines of the table."""
    off = f", smooth: {', '.join(data['smooth'])}" if data.get("smooth") else ""
    seeds = ", ".join(map(str, data["seeds"]))
    found = [f"{data['machines']} simulated machines, seed {seeds}{off}", ""]
    for kit, one in data["kits"].items():
        found += _kit(kit, one)
    if data["strategies"]:
        found += _strategies(data["strategies"], data.get("first_time_bound"))
    return found


def _kit(kit: str, one: Mapping[str, Any]) -> list[str]:
    """Return the lines of one kit."""
    limits = one.get("bound", {}).get("not_listed", {})
    found = [
        f"{KIT_WORDS[kit]}",
        *_ranking("all machines", one, one.get("bound", {}).get("all")),
    ]
    if set(one["groups"]) != {"single"}:
        for group, mine in one["groups"].items():
            found += _ranking(GROUP_WORDS[group], mine, one.get("bound", {}).get(group))
    found += [
        f"  Brier score             {one['brier']:.3f}  even chances {one['uniform'][0]:.3f}, "
        f"shares alone {one['prior'][0]:.3f}",
        f"  log loss                {one['log_loss']:.3f}  even chances {one['uniform'][1]:.3f}, "
        f"shares alone {one['prior'][1]:.3f}",
        f"  unsafe answers          {_share(one['unsafe'])}",
        f"  true cause uncovered    {_share(one['uncovered'])}",
        *(f"  {NOT_LISTED_WORDS[name]:40}{_share(share)}{_beside(limits.get(name))}"
          for name, share in one["not_listed"].items()),
    ]  # fmt: skip
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


def _ranking(
    words: str, one: Mapping[str, Any], bound: Mapping[str, Mapping[str, float]] | None
) -> list[str]:
    """Return where the true cause stands and how far the chances hold, for some machines."""
    first, three = (_beside((bound or {}).get(name)) for name in ("first", "first_three"))
    low, high = one["calibration_interval"]
    exact, most = one["calibration_by_chance"]
    debiased = one["calibration_debiased"]
    return [
        f"  {words} ({one['machines']})",
        f"    true cause first      {_share(one['first_or_tied'])}{first}",
        f"      and told apart      {_share(one['first'])}",
        f"    in the first three    {_share(one['first_three'])}{three}",
        f"    calibration error     {one['calibration_error']:.3f} ({low:.3f}-{high:.3f})   "
        f"exact forecasts would show {exact:.3f}, at most {most:.3f} in 95 %",
        *([] if debiased is None else
          ["      less chance, r.m.s. {:.3f} ({:.3f}-{:.3f})".format(*debiased)]),
        f"      {CALIBRATION_AIM:.2f} can be shown from {one['calibration_needs']} machines on",
        f"    over .6 and wrong     {_share(one['surely_wrong'])}   "
        f"exact forecasts would show {one['surely_wrong_foretold']:.3f}",
    ]  # fmt: skip


def _strategies(strategies: Mapping[str, Any], bound: Mapping[str, float] | None) -> list[str]:
    """Return the lines of the strategies; ``bound`` of the first-time fix, where it is known."""
    head = f"{'from complaint to fix':26}{'minutes':>8}  {'95 %':16}{'checks':>7}"
    found = [f"{head}  first-time fix"]
    for name, one in strategies.items():
        found.append(_strategy(STRATEGY_WORDS[name], one))
        if name == "advice" and len(one["groups"]) > 1:
            found += [_strategy(f"  {GROUP_WORDS[g]}", mine) for g, mine in one["groups"].items()]
    if bound is not None:
        words = "bound for one listed fault: it leads once every check is done"
        found.append(f"  {words:62}{_share(bound)}")
    if {"advice", "fixed-order"} <= set(strategies):
        ratio = strategies["advice"]["minutes"] / strategies["fixed-order"]["minutes"]
        found.append(f"  advice over fixed order {ratio:>8.2f}")
    return found


def _strategy(words: str, one: Mapping[str, Any]) -> str:
    limits = f"{one['low']:.0f}-{one['high']:.0f}"
    return (f"  {words:24}{one['minutes']:>8.1f}  {limits:16}{one['checks']:>7.1f}  "
            f"{_share(one['first_time_fix'])}")  # fmt: skip
