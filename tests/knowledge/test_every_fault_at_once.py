"""One base with a dozen faults of a dozen kinds: all are reported at once, each with its place."""

from collections.abc import Callable
from pathlib import Path

import pytest

from engine.knowledge import Fault, KnowledgeError, load_knowledge
from engine.knowledge.faults import Code

RULE = """id: {stem}
family: traps
title: A rule with a slip
when:
  - {when}
then:
  - {then}
because:
  found: Something was found.
  points: It points somewhere.
  next: Do something.
source: judgement
"""


def rule(stem: str, when: str, then: str = "{note: true}") -> str:
    """Return the text of a trap rule."""
    return RULE.format(stem=stem, when=when, then=then)


@pytest.fixture(scope="module")
def planted(shipped_text: Callable[[str], str]) -> dict[str, str]:
    """Give files with one fault each."""
    ground = shipped_text("causes/ground-resistive.yaml")
    click = shipped_text("checks/relay-click.yaml")
    volts = shipped_text("checks/ground-side-voltage.yaml")
    heard = "{check: relay-click, outcome: heard}"
    return {
        "causes/ground-open.yaml": "id: ground-open\nshare: 5\nshare: 6\n",
        "causes/ground-resistive.yaml": ground.replace("share: 8\n", ""),
        "causes/ground-loose.yaml": ground,
        "causes/hold-wire-open.yaml": shipped_text("causes/hold-wire-open.yaml").replace(
            "section: wiring", "section: wirng"
        ),
        "checks/relay-click.yaml": click.replace("heard: 0.91", "heard: 0.5"),
        "checks/ground-side-voltage.yaml": volts.replace("from: ground-point", "from: ground-pont"),
        "rules/traps/one.yaml": rule("one", "{check: pull-volts, given: true}"),
        "rules/traps/two.yaml": rule("two", heard, "{clears: [fuse-open]}"),
        "rules/traps/three.yaml": rule("three", "{machine: coil, is: body-grounded}"),
        "rules/traps/four.yaml": rule("four", "{not_concluded: loop}", "{conclude: loop}"),
        "rules/traps/five.yaml": "title: T\n" + rule("five", heard).replace("title: A rule with a "
                                                                         "slip\n", ""),
        "rule/x.yaml": "id: x",
        "switched-off.yaml": "checks: [brake-displai]",
    }  # fmt: skip


EXPECTED = [
    ("shop/causes/ground-open.yaml:3:1", "key 'share' stands twice"),
    ("shop/causes/ground-resistive.yaml: share", "is missing"),
    ("shop/causes/ground-loose.yaml: id", "must be the file's stem, 'ground-loose'"),
    ("shop/causes/hold-wire-open.yaml: section",
     "unknown section 'wirng' (did you mean 'wiring'?)"),
    ("shop/checks/relay-click.yaml: predicted_by.otherwise",
     "then: shares sum to 0.59, not to 1"),
    ("shop/checks/ground-side-voltage.yaml: predicted_by",
     "unknown node 'ground-pont' (did you mean 'ground-point'?)"),
    ("shop/rules/traps/one.yaml: when",
     "unknown check 'pull-volts' (did you mean 'pull-pin-voltage'?)"),
    ("shop/rules/traps/two.yaml: then[0].clears", "is for proofs, not for traps"),
    ("shop/rules/traps/three.yaml: when[0]",
     "unknown value of coil 'body-grounded' (did you mean 'body-ground'?)"),
    ("shop/rules/traps/four.yaml: when",
     "not_concluded leads back to this rule's own conclusion: the answer would depend on the "
     "order in which rules fire"),
    ("shop/rules/traps/five.yaml",
     "keys stand in the order id, family, title, when, then, because, source"),
    ("shop/rule", "unknown folder 'rule' (did you mean 'rules'?)"),
    ("shop/switched-off.yaml: checks",
     "unknown id 'brake-displai' (did you mean 'brake-display'?)"),
]  # fmt: skip


@pytest.fixture(scope="module")
def told(planted: dict[str, str], overlay: Callable[..., Path]) -> KnowledgeError:
    """What loading the base ends in."""
    with pytest.raises(KnowledgeError) as caught:
        load_knowledge([overlay(planted)])
    return caught.value


def test_all_are_reported_and_nothing_else(planted: dict[str, str], told: KnowledgeError) -> None:
    """Thirteen faults of text, shape, whole and directory come in one sorted list, no echo."""
    faults = told.faults
    assert faults == sorted(faults)
    assert faults == sorted(Fault(path, message) for path, message in EXPECTED)
    assert len(planted) == len(EXPECTED)


def test_the_exception_reads_as_one_line_a_fault(told: KnowledgeError) -> None:
    """The exception's own text has a line for each fault: place, then what is wrong."""
    lines = str(told).splitlines()
    assert sorted(lines) == sorted(f"{path}: {message}" for path, message in EXPECTED)


CODES = {
    "causes/ground-open.yaml": Code.DUPLICATE_KEY, "causes/ground-resistive.yaml": Code.MISSING_KEY,
    "causes/ground-loose.yaml": Code.REFUSED, "causes/hold-wire-open.yaml": Code.UNKNOWN_IDENTIFIER,
    "checks/ground-side-voltage.yaml": Code.UNKNOWN_IDENTIFIER,
    "rules/traps/one.yaml": Code.UNKNOWN_IDENTIFIER, "rules/traps/two.yaml": Code.REFUSED,
    "rules/traps/three.yaml": Code.UNKNOWN_IDENTIFIER, "rules/traps/four.yaml": Code.REFUSED,
    "rules/traps/five.yaml": Code.KEY_ORDER, "rule": Code.UNKNOWN_IDENTIFIER,
    "switched-off.yaml": Code.UNKNOWN_IDENTIFIER,
}  # fmt: skip


def test_each_fault_carries_its_code_its_file_and_what_it_is_about(
    told: KnowledgeError,
) -> None:
    """A program tells faults apart by code and file, and names what is unknown, without words."""
    faults = {fault.file.removeprefix("shop/"): fault for fault in told.faults}
    assert {file: faults[file].code for file in CODES} == CODES
    assert all(fault.path.startswith(fault.file) for fault in faults.values())
    assert faults["rules/traps/one.yaml"].about == ("check", "pull-volts")
