"""Steps without their caution."""

from typing import Any

import pytest

from engine import load_knowledge
from engine.audit.steps import step_faults
from tests.curation.shop import Shop


@pytest.mark.parametrize(
    ("like", "change", "place", "says"),
    [
        ("plunger-by-hand", {"hazards": []}, "hazards", "names no danger"),
        ("pull-current", {"hazards": ["hot"]}, "hazards", "lacks 'live'"),
        ("pull-winding-ohms", {"hazards": ["hot"]}, "hazards", "lacks 'ohms'"),
        ("lamp-at-pull-pin", {"commanded": False, "hazards": ["live"]}, "commanded", "must be"),
    ],
)
def test_check_that_hides_its_danger(
    shop: Shop, like: str, change: dict[str, Any], place: str, says: str
) -> None:
    """A step by hand, under current or under command that does not say so is a fault."""
    check = shop.like("checks", like) | change
    shop.put(f"checks/{like}.yaml", check)
    faults = list(step_faults(load_knowledge([shop.folder])))
    assert [fault.path for fault in faults] == [f"shop/checks/{like}.yaml: {place}"]
    assert says in faults[0].message


def test_remedy_without_a_danger(shop: Shop) -> None:
    """A remedy that names no danger is a fault; the healthy circuit has none to name."""
    shop.put("causes/fuse-open.yaml", shop.like("causes", "fuse-open") | {"hazards": []})
    shop.put("causes/healthy.yaml", shop.like("causes", "healthy") | {"hazards": []})
    faults = list(step_faults(load_knowledge([shop.folder])))
    assert [fault.path for fault in faults] == ["shop/causes/fuse-open.yaml: hazards"]


def test_danger_that_no_caution_speaks_of(shop: Shop) -> None:
    """With its cautions switched off, every step that carries the danger is told."""
    shipped = load_knowledge()
    about = [
        name for name, rule in shipped.rules.items() if {"step": "pressurised"} in list(rule.when)
    ]
    assert about
    shop.put("switched-off.yaml", f"rules: [{', '.join(about)}]\n")
    carriers = {
        one.file
        for one in [*shipped.checks.values(), *shipped.causes.values()]
        if "pressurised" in one.hazards
    }
    faults = list(step_faults(load_knowledge([shop.folder])))
    assert {fault.path for fault in faults} == {f"{file}: hazards" for file in carriers}
    assert all("'pressurised'" in fault.message for fault in faults)


def test_machine_without_any_caution(shop: Shop) -> None:
    """A base whose cautions all wait for a finding lets a machine go without any: a fault."""
    knowledge = load_knowledge()
    general = [
        name
        for name, rule in knowledge.rules.items()
        if rule.family == "cautions" and not any("step" in one for one in rule.when)
    ]
    shop.put("switched-off.yaml", f"rules: [{', '.join(general)}]\n")
    messages = [fault.message for fault in step_faults(load_knowledge([shop.folder]))]
    assert any("no general caution" in one for one in messages)
