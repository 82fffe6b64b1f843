"""Words of caution are few enough to be read, and none is said twice in a report."""

import re
from collections import Counter
from pathlib import Path

import pytest

from api.answers.report import sections
from api.answers.text import Line
from engine.diagnosis import Diagnoser
from engine.knowledge.text import load_yaml

FILES = sorted((Path(__file__).parents[1] / "cases" / "worked").glob("*.yaml"))[::8]
MOST, MOST_IN_ONE = 0.12, 0.19  # shares of a report's words; all reports together, and any one
DISCLAIMER = "win over this advice"  # says who is right, warns of nothing
NUMBER, POINTS_BACK = re.compile(r"^Caution \d+: "), re.compile(r"^Cautions? [\d, and]+ above\.$")


@pytest.fixture(scope="module")
def reports(remembering: Diagnoser) -> dict[str, list[Line]]:
    """Give the lines of the report on every eighth worked case, by its name."""
    requests = {one.stem: load_yaml(one.read_text("utf-8"), one.name)["request"] for one in FILES}
    return {
        name: [
            line
            for section in sections(remembering.diagnose(request), remembering.knowledge)
            for line in section.lines
        ]
        for name, request in requests.items()
    }


def words(lines: list[Line]) -> int:
    """Return how many words the lines have."""
    return sum(len(line.text.split()) for line in lines)


def cautions(lines: list[Line]) -> list[str]:
    """Return what warns of a danger, without its number; what points to a number is left out."""
    return [
        NUMBER.sub("", line.text)
        for line in lines
        if line.lead == "!" and DISCLAIMER not in line.text and not POINTS_BACK.search(line.text)
    ]


def test_an_eighth_of_a_report_at_most_is_caution(reports: dict[str, list[Line]]) -> None:
    """Of all the words of the reports at most 12 in 100 are words of caution, and of no report
    more than 19 in 100: who has to read more stops reading."""
    warned = {name: len(" ".join(cautions(one)).split()) for name, one in reports.items()}
    shares = {name: warned[name] / words(one) for name, one in reports.items()}
    assert max(shares.values()) <= MOST_IN_ONE, shares
    assert sum(warned.values()) / sum(map(words, reports.values())) <= MOST, shares


def test_no_caution_is_said_twice(reports: dict[str, list[Line]]) -> None:
    """A caution stands in a report once in full; after that its number does."""
    twice = {
        name: said
        for name, one in reports.items()
        if (said := [text for text, count in Counter(cautions(one)).items() if count > 1])
    }
    assert twice == {}
