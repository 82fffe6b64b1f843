"""A shop's own files over the shipped ones: add, replace, switch off, and see it in the version."""

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from tests.curation.shop import Shop, both_ends_corroded

Run = Callable[..., Result]
REQUEST = {
    "machine": {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "body-ground"},
    "findings": [{"check": "relay-click", "outcome": "heard"}],
    "limit": 0,
}


@pytest.fixture
def request_file(tmp_path: Path) -> Path:
    """A request in a file."""
    file = tmp_path / "request.json"
    file.write_text(json.dumps(REQUEST), encoding="utf-8")
    return file


def answer(run: Run, file: Path, *options: str | Path) -> dict[str, object]:
    """Return the diagnosis of the request."""
    done = run("diagnose", file, "--json", *options)
    assert done.exit_code == 0, done.stderr
    found: dict[str, object] = json.loads(done.stdout)
    return found


def causes(found: dict[str, object]) -> set[str]:
    """Return the ids of the causes of an answer."""
    listed = found["causes"]
    assert isinstance(listed, list)
    return {one["id"] for one in listed}


def proposed(found: dict[str, object]) -> set[str]:
    """Return the ids of the checks that an answer proposes."""
    listed = found["next_checks"]
    assert isinstance(listed, list)
    return {one["check"] for one in listed}


def test_cause_is_added_replaced_and_switched_off(run: Run, shop: Shop, request_file: Path) -> None:
    """Diagnoses weigh what the folder adds, say what it replaces, and leave out what is off."""
    both_ends_corroded(shop, ["ground-side-voltage"])
    renamed = shop.like("causes", "fuse-open") | {"name": "The shop's own word for a fuse"}
    shop.put("causes/fuse-open.yaml", renamed)
    shop.put("switched-off.yaml", "causes: [wrong-voltage-part]\nchecks: [relay-87-voltage]\n")
    plain, own = answer(run, request_file), answer(run, request_file, "--kb", shop.folder)
    assert causes(own) - causes(plain) == {"both-ends"}
    assert causes(plain) - causes(own) == {"wrong-voltage-part"}
    assert "relay-87-voltage" in proposed(plain)
    assert "relay-87-voltage" not in proposed(own)
    named = own["causes"]
    assert isinstance(named, list)
    assert {"The shop's own word for a fuse"} == {
        one["name"] for one in named if one["id"] == "fuse-open"
    }


def test_setting_names_folders_for_every_command(
    run: Run, shop: Shop, tmp_path: Path, request_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """THREEWIRE_KB holds for kb, diagnose and the service; folders are separated as in PATH."""
    both_ends_corroded(shop, ["ground-side-voltage"])
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.setenv("THREEWIRE_KB", os.pathsep.join([str(empty), str(shop.folder)]))
    heard = [{"check": "relay-click", "outcome": "heard"}]
    shop.rule("heard-here", "traps", heard, [{"weaken": "relay-click", "keep": 0.5}])
    assert "both-ends" in causes(answer(run, request_file))
    assert run("kb", "show", "heard-here").exit_code == 0
    from api import create_app

    body = create_app().test_client().get("/v1/causes/both-ends").json
    assert body["name"] == "Both ends"
    assert "+shop" in run("version").stdout
