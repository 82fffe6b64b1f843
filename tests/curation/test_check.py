"""``kb check``: silent on a good base, and every fault of a bad one with its file and field."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from engine import KnowledgeError, load_knowledge
from engine.audit.coverage import row_faults
from tests.curation.shop import Shop, both_ends_corroded
from tests.sweeps import ONLY_WHOLE

Run = Callable[..., Result]


def plant(shop: Shop) -> list[str]:
    """Plant one fault of each kind; return how the line that tells of each must begin."""
    return [
        _text(shop), _shape(shop), _stem(shop), _order(shop), _dangling(shop), _language(shop),
        _no_caution(shop), _look_alike(shop), _unconfirmed(shop), _idle(shop),
        _switched_off(shop), _stray(shop), _unfilled(shop), _stale(shop),
    ]  # fmt: skip


def _text(shop: Shop) -> str:
    shop.put("causes/fuse-open.yaml", "id: fuse-open\nname: Fuse\nname: Fuse again\n")
    return "shop/causes/fuse-open.yaml:3:1: key 'name' stands twice"


def _shape(shop: Shop) -> str:
    check = shop.like("checks", "ground-side-voltage") | {"id": "bad-shape"}
    check["predicted_by"]["phase"] = "on-comand"
    shop.put("checks/bad-shape.yaml", check)
    return (
        "shop/checks/bad-shape.yaml: predicted_by.phase: unknown phase 'on-comand' "
        "(did you mean 'on-command'?)"
    )


def _stem(shop: Shop) -> str:
    shop.put("tables/not-the-stem.yaml", shop.like("tables", "copper"))
    return "shop/tables/not-the-stem.yaml: id: must be the file's stem"


def _order(shop: Shop) -> str:
    data = shop.rule(
        "out-of-order",
        "traps",
        [{"check": "relay-click", "outcome": "heard"}],
        [{"weaken": "relay-click", "keep": 0.5}],
    )
    shop.put("rules/traps/out-of-order.yaml", dict(reversed(data.items())))
    return "shop/rules/traps/out-of-order.yaml: keys stand in the order id, family"


def _dangling(shop: Shop) -> str:
    cause = shop.like("causes", "ground-resistive") | {"confirmed_by": ["ground-jumpr"]}
    shop.put("causes/ground-resistive.yaml", cause)
    return (
        "shop/causes/ground-resistive.yaml: confirmed_by: unknown check 'ground-jumpr' "
        "(did you mean 'ground-jumper'?)"
    )


def _language(shop: Shop) -> str:
    shop.rule(
        "wrong-action",
        "proofs",
        [{"check": "relay-click", "outcome": "heard"}],
        [{"set_aside": "relay-click"}],
    )
    return "shop/rules/proofs/wrong-action.yaml: then[0].set_aside: is for traps"


def _no_caution(shop: Shop) -> str:
    check = shop.like("checks", "plunger-by-hand") | {"id": "no-caution", "hazards": []}
    shop.put("checks/no-caution.yaml", check)
    return "shop/checks/no-caution.yaml: hazards: names no danger"


def _look_alike(shop: Shop) -> str:
    cause = shop.like("causes", "ground-open") | {"id": "twin", "name": "Another open ground"}
    shop.put("causes/twin.yaml", cause)
    return "shop/causes/twin.yaml: states: no check tells it from 'ground-open'"


def _unconfirmed(shop: Shop) -> str:
    both_ends_corroded(shop, ["battery-voltage-rest"])
    return "shop/causes/both-ends.yaml: confirmed_by: no check named here tells it from 'healthy'"


def _idle(shop: Shop) -> str:
    check = shop.like("checks", "fuel-control") | {"id": "idle", "applies": {}}
    check["predicted_by"] = {
        "otherwise": {"solenoid": 0.4, "electronic": 0.3, "unknown": 0.3},
    }
    shop.put("checks/idle.yaml", check)
    return "shop/checks/idle.yaml: predicted_by: separates nothing"


def _switched_off(shop: Shop) -> str:
    shop.put("switched-off.yaml", "rules: [no-such-rule]\n")
    return "shop/switched-off.yaml: rules: unknown id 'no-such-rule'"


def _stray(shop: Shop) -> str:
    (shop.folder / "cauzes").mkdir()
    return "shop/cauzes: unknown folder 'cauzes' (did you mean 'causes'?)"


def _unfilled(shop: Shop) -> str:
    heard = [{"check": "relay-click", "outcome": "heard"}]
    rule = shop.rule("half-filled", "traps", heard, [{"weaken": "relay-click", "keep": 0.5}])
    shop.put("rules/traps/half-filled.yaml", rule | {"title": "FILL IN"})
    return "shop/rules/traps/half-filled.yaml: title: still says FILL IN"


def _stale(shop: Shop) -> str:
    """One row that no longer holds, below one that does: of a part and its copy."""
    part = shop.like("causes", "relay-coil-open") | {"id": "coil-open", "name": "Its coil open"}
    shop.put("causes/coil-open.yaml", part)
    table = shop.like("tables", "look-alikes")
    twins = ["relay-coil-open", "coil-open"]
    table["rows"] += [
        {"id": "twins", "causes": twins, "reason": "One is a copy of the other."},
        {"id": "stale", "causes": ["fuse-open", "battery-weak"], "reason": "Once it was so."},
    ]
    shop.put("tables/look-alikes.yaml", table)
    row = f"rows[{len(table['rows']) - 1}].causes"
    return f"shop/tables/look-alikes.yaml: {row}: checks tell all of these"


def test_shipped_base_is_clean_and_silent(run: Run) -> None:
    """On the shipped base nothing is said and the status is 0."""
    done = run("kb", "check")
    assert (done.exit_code, done.output) == (0, "")


@ONLY_WHOLE  # the whole audit, of a base with new causes
def test_planted_faults_are_all_told(run: Run, shop: Shop) -> None:
    """Of fourteen faults of as many kinds each is told once, with file and field, and no other:
    neither causes that nothing tells apart where a row gives the reason, nor a conclusion that
    nobody reads. A folder without fault is in test_new."""
    wanted = plant(shop)
    heard = [{"check": "relay-click", "outcome": "heard"}]
    shop.rule("talks-to-nobody", "context", heard, [{"conclude": "heard-by-nobody"}])
    done = run("kb", "check", "--kb", shop.folder)
    lines = [line.removeprefix("threewire: ") for line in done.stderr.splitlines()]
    assert done.exit_code == 1
    for begin in wanted:
        assert [line for line in lines if line.startswith(begin)], (begin, lines)
    assert len(lines) == len(wanted), lines
    assert lines == sorted(lines)


def test_rows_of_look_alikes_are_checked(shop: Shop) -> None:
    """A row without two known causes, circuits or a reason is a fault of that field."""
    two = {"causes": ["fuse-open", "outside"]}
    bad: list[tuple[dict[str, object], str, str]] = [
        ({"causes": ["fuse-open"], "reason": "Why."}, "causes", "two causes or more"),
        ({"causes": ["fuse-open", "fuse-opn"], "reason": "Why."}, "causes", "'fuse-open'"),
        (two, "reason", "is missing"),
        (two | {"reason": "Why.", "circuits": ["x"]}, "circuits", "unknown circuit"),
        (two | {"reason": "Why.", "wy": 1}, "wy", "unknown key"),
    ]
    table = shop.like("tables", "look-alikes")
    table["rows"] = [{"id": f"bad-{n}", **row} for n, (row, _, _) in enumerate(bad)]
    shop.put("tables/look-alikes.yaml", table)
    faults = list(row_faults(load_knowledge([shop.folder]), []))
    for number, (_, field, says) in enumerate(bad):
        place = f"shop/tables/look-alikes.yaml: rows[{number}].{field}"
        assert [one.path for one in faults if says in one.message] == [place]
    assert len(faults) == len(bad)


def test_fault_of_a_missing_folder(run: Run, tmp_path: Path) -> None:
    """A folder that is not there is told by name."""
    done = run("kb", "check", "--kb", tmp_path / "nowhere")
    assert done.exit_code == 1
    assert "nowhere: is not a directory" in done.stderr


def test_a_service_starts_with_keys_in_any_order(shop: Shop) -> None:
    """The order of keys is style: 'kb check' finds fault with it, a shop's service starts."""
    _order(shop)
    with pytest.raises(KnowledgeError, match="keys stand in the order"):
        load_knowledge([shop.folder])
    assert "out-of-order" in load_knowledge([shop.folder], style=False).rules
