"""``kb cases``: which cases fail, and which rules never fired."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from api.curation.cases import shipped_folder

Run = Callable[..., Result]
SHIPPED = Path(__file__).parents[1] / "cases"
MACHINE = "{duty: fuel-shutoff, control: ignition-timed, coil: body-ground}"


def case_file(
    folder: Path, findings: str, kind: str = "fires", rule: str = "ohms-to-dead-pin-body-ground"
) -> None:
    """Write a rule case with the same findings where it must fire and where it must not."""
    folder.mkdir(exist_ok=True)
    request = f"    request:\n      machine: {MACHINE}\n      findings: [{findings}]\n"
    none = f"    request:\n      machine: {MACHINE}\n      findings: []\n"
    fires, silent = (request, none) if kind == "fires" else (none, request)
    (folder / "case.yaml").write_text(
        f"rule: {rule}\nfires:\n  - because: So.\n{fires}silent:\n  - because: So.\n{silent}",
        encoding="utf-8",
    )


FIRES = "{check: pull-winding-ohms, outcome: open, measured_to: ground-pin}"


def test_cases_of_a_checkout_are_found() -> None:
    """Beside a checkout the cases are those of its tests."""
    assert shipped_folder() == SHIPPED


def test_shipped_cases_pass(run: Run, tmp_path: Path) -> None:
    """Rule cases with findings, steps and beliefs, and worked cases, run from a folder."""
    for name in (
        "rules/ohms-to-dead-pin-body-ground.yaml",
        "rules/step-cranks.yaml",
        "rules/smoking-coil.yaml",
        "worked/loader-third-pin-trap.yaml",
    ):
        target = tmp_path / name
        target.parent.mkdir(exist_ok=True)
        shutil.copy(SHIPPED / name, target)
    done = run("kb", "cases", "--cases", tmp_path)
    assert done.exit_code == 0, done.output
    silent = set(done.stdout.partition("Rules that never fired: ")[2].rstrip(".\n").split(", "))
    assert "relay-swap-cures" in silent
    assert not silent & {"ohms-to-dead-pin-body-ground", "step-cranks", "smoking-coil"}


def test_rule_that_should_fire_and_does_not(run: Run, tmp_path: Path) -> None:
    """A case whose rule stays silent, or fires where it must not, fails by name."""
    case_file(tmp_path / "cases", FIRES, "silent")
    done = run("kb", "cases", "--cases", tmp_path / "cases")
    assert done.exit_code == 1
    assert "case.yaml: fires[0]: the rule stayed silent" in done.stderr
    assert "case.yaml: silent[0]: the rule fired" in done.stderr


def test_worked_case_that_does_not_lead(run: Run, tmp_path: Path) -> None:
    """A worked case whose cause does not lead names the one that does."""
    text = (SHIPPED / "worked" / "loader-third-pin-trap.yaml").read_text(encoding="utf-8")
    (tmp_path / "w.yaml").write_text(
        text.replace("lead: ground-open", "lead: battery-weak"), encoding="utf-8"
    )
    done = run("kb", "cases", "--cases", tmp_path)
    assert done.exit_code == 1
    assert "expect.lead: 'battery-weak' does not lead; 'ground-open' does" in done.stderr


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("rule: no-such-rule\nfires: []\nsilent: []\n", "unknown rule 'no-such-rule'"),
        ("rule: smoking-coil\nfires: []\nsilent: []\n", "fires: Shorter than minimum length 1."),
        ("rule: smoking-coil\nfire: []\n", "did you mean 'fires'?"),
        ("- a\n", "must be a mapping"),
        ("a: 1\n", "neither rule, fires and silent nor request and expect"),
        ("request: {}\nexpect: {lead: ground-opn}\n", "did you mean 'ground-open'?"),
        ("rule: [\n", "case.yaml:2:1:"),
        (
            "rule: smoking-coil\nfires:\n  - because: x\n    request: {}\n    stepp: [live]\n"
            "silent:\n  - because: x\n    request: {}\n",
            "did you mean 'step'?",
        ),
        (
            "rule: smoking-coil\nfires:\n  - because: x\n    request: {}\n    step: [lives]\n"
            "silent:\n  - because: x\n    request: {}\n",
            "did you mean 'live'?",
        ),
    ],
)
def test_bad_case_files_are_told(run: Run, tmp_path: Path, text: str, says: str) -> None:
    """A file that is no case says what is wrong with it, and the others still run."""
    case_file(tmp_path / "good", FIRES)
    (tmp_path / "good" / "case.yaml").rename(tmp_path / "good.yaml")
    (tmp_path / "case.yaml").write_text(text, encoding="utf-8")
    done = run("kb", "cases", "--cases", tmp_path)
    assert done.exit_code == 1
    assert says in done.stderr
    assert "2 cases" in done.stdout


def test_bad_request_is_told_with_its_path(run: Run, tmp_path: Path) -> None:
    """A request that the gate refuses fails its case, with the place in it."""
    case_file(tmp_path / "cases", "{check: pull-winding-ohms, outcome: opn}")
    done = run("kb", "cases", "--cases", tmp_path / "cases")
    assert done.exit_code == 1
    assert "fires[0].request: findings[0].outcome" in done.stderr


def test_folder_must_be_there(run: Run, tmp_path: Path) -> None:
    """A folder that does not exist is bad usage."""
    assert run("kb", "cases", "--cases", tmp_path / "nowhere").exit_code == 2


def test_installation_without_cases(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a checkout the command asks for a folder."""
    monkeypatch.setattr("api.curation.cases.shipped_folder", lambda: None)
    done = run("kb", "cases")
    assert done.exit_code == 1
    assert "--cases" in done.stderr
