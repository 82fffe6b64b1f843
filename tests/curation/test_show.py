"""``kb show``: every kind of item as a page that a person reads."""

from collections.abc import Callable

import pytest
from click.testing import Result

from api.curation import facts
from api.curation.reference import page_sections
from engine import Knowledge
from engine.audit.separation import Survey
from tests.sweeps import swept

Run = Callable[..., Result]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("ground-resistive", ["RESISTIVE GROUND", "REMEDY", "ground-side-voltage", "TAKEN FOR"]),
        ("ground-side-voltage", ["Healthy:", "ground-open", "CONFIRMS", "CAUTIONS"]),
        ("ohms-to-dead-pin-body-ground", ["WHEN", "any:", "set_aside: pull-winding-ohms"]),
        ("fuel-shutoff-ignition-timed", ["PARTS", "pull-winding", "PHASES"]),
        ("look-alikes", ["ROWS", "beyond-the-brake"]),
    ],
)
def test_each_kind_has_a_page(run: Run, name: str, says: list[str]) -> None:
    """A cause, check, rule, circuit and table each show what their kind is about."""
    done = run("kb", "show", name, "--circuit", "fuel-shutoff-ignition-timed")
    assert done.exit_code == 0, done.stderr
    for words in says:
        assert words in done.stdout, words
    assert all(len(line) <= 88 for line in done.stdout.splitlines())


def test_unknown_id_names_the_nearest(run: Run) -> None:
    """A slip of the pen is answered with the id that was meant."""
    done = run("kb", "show", "ground-resistve")
    assert done.exit_code == 1
    assert "did you mean 'ground-resistive'?" in done.stderr
    done = run("kb", "show", "ground-resistive", "--circuit", "fuel-shutof-ignition-timed")
    assert done.exit_code == 1
    assert "did you mean 'fuel-shutoff-ignition-timed'?" in done.stderr


def test_every_item_has_a_page(survey: Survey, knowledge: Knowledge) -> None:
    """No item of the base, of whatever form, is beyond the page's words."""
    machine = facts.shown_machines(knowledge, ["fuel-shutoff-ignition-timed"], ["body-ground"])
    every = [(kind, name) for kind in facts.KINDS for name in facts.shelf(knowledge, kind)]
    for kind, name in swept(every, 4):
        parts = page_sections(facts.page(survey, kind, name, machine))
        assert parts[0].lines, name


def test_page_of_a_cause_agrees_with_an_answer(survey: Survey) -> None:
    """What the page says a check reads is what a diagnosis says that it would read."""
    machine = facts.shown_machines(
        survey.knowledge, ["fuel-shutoff-ignition-timed"], ["case-ground"]
    )
    page = facts.page(survey, "causes", "ground-resistive", machine)
    rows = {row.check: row for row in page.tables[0].rows}
    answer = survey.diagnoser.diagnose(
        {
            "machine": {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"},
            "findings": [{"check": "ground-side-voltage", "value": 6, "unit": "V"}],
        }
    )
    evidence = answer["causes"][0]["evidence"][0]
    assert answer["causes"][0]["id"] == "ground-resistive"
    assert rows["ground-side-voltage"].mine == evidence["expected_if_cause"]
    assert rows["ground-side-voltage"].other == evidence["expected_if_healthy"]
