"""What a technician types by hand, and what the trade wants to hear (probes.yaml beside this)."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from engine.diagnosis import Diagnoser
from engine.knowledge.text import load_yaml

FILE = Path(__file__).with_name("probes.yaml")
PROBES: list[dict[str, Any]] = load_yaml(FILE.read_text(encoding="utf-8"), FILE.name)["probes"]
FIRST = 3  # proposals that are looked at
KEYS = {"first", "most", "least", "together", "do", "asks", "never", "says", "aside", "verdict"}


def failing(answer: Mapping[str, Any], holds: Mapping[str, Any]) -> list[str]:
    """Return what of a probe does not hold in an answer."""
    belief = {one["id"]: one["probability"] for one in answer["causes"]}
    leader = answer["causes"][0]
    proposed = [one["check"] for one in answer["next_checks"]]
    told = " ".join(one["text"] for one in answer["cautions"])
    group = holds.get("together", {"of": []})
    both = sum(belief.get(one, 0) for one in group["of"])
    other = max(share for one, share in belief.items() if one not in group["of"])
    verdicts = {one["check"]: one.get("verdict") for one in leader["evidence"]}
    held = {
        "first": leader["id"] in holds.get("first", [leader["id"]]),
        "most": all(belief.get(one, 0) <= most for one, most in holds.get("most", {}).items()),
        "least": all(belief[one] >= least for one, least in holds.get("least", {}).items()),
        "together": both >= max(group.get("at_least", 0), group.get("over", 0) * other),
        "do": answer["advice"]["do"] == holds.get("do", answer["advice"]["do"]),
        "asks": not holds.get("asks") or bool({*holds["asks"]} & {*proposed[:FIRST]}),
        "never": not {*holds.get("never", ())} & {*proposed},
        "says": re.search(holds.get("says", ""), told) is not None,
        "aside": {*holds.get("aside", ())} <= {one["finding"] for one in answer["set_aside"]},
        "verdict": holds.get("verdict", {}).items() <= verdicts.items(),
    }
    return [f"{one}: {leader['id']} {proposed}" for one, good in held.items() if not good]


@pytest.mark.parametrize("probe", PROBES, ids=lambda probe: probe["typed"])
def test_the_trade_hears_what_it_wants(probe: dict[str, Any], diagnoser: Diagnoser) -> None:
    """The answer to what was typed leads, weighs, advises, forbids and warns as the trade would."""
    request = {"machine": probe["machine"], "findings": probe["findings"], "limit": 0}
    assert failing(diagnoser.diagnose(request), probe["holds"]) == []


def test_there_are_twenty_probes() -> None:
    """Twenty probes, none typed twice, each with something that must hold."""
    assert len({probe["typed"] for probe in PROBES}) == len(PROBES) == 20
    assert all(probe["holds"] and set(probe["holds"]) <= KEYS for probe in PROBES)
