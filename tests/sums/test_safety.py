"""What a sum may never say, and what it always says."""

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.sums import MANUAL, compute
from engine import Knowledge
from tests.sums.conftest import figures

# A sentence that speaks of a larger fuse may only forbid it.
LARGER = re.compile(r"larger|bigger|higher|next size|uprate|stronger", re.IGNORECASE)
FORBIDS = re.compile(r"never|lets the wire burn", re.IGNORECASE)


def prose(answer: dict[str, Any]) -> list[str]:
    """Return every sentence of an answer that is about this case; the source is a citation."""
    texts = [answer["says"], *answer["assumptions"], *answer["cautions"]]
    texts += [f"{one['name']} {one['value']}" for one in answer["results"]]
    return [part for text in texts for part in re.split(r"(?<=[.:;]) ", text)]


def test_no_sum_about_a_fuse_suggests_a_larger_one(knowledge: Knowledge) -> None:
    """Whatever the current, no rating but the fuse's own is told, and a larger one is forbidden."""

    @given(rating=st.floats(1, 40), amperes=st.floats(0.001, 5000))
    def work(rating: float, amperes: float) -> None:
        given_ = {"fuse_amps": rating, "amperes": amperes}
        answer = compute(knowledge, "fuse-opening", given_)
        for sentence in prose(answer):
            assert not LARGER.search(sentence) or FORBIDS.search(sentence), sentence
        in_amperes = [one["value"] for one in answer["results"] if one["unit"] == "A"]
        assert in_amperes == [pytest.approx(amperes, rel=1e-5)]
        assert any("Never a larger fuse" in text for text in answer["cautions"])

    work()


@pytest.mark.parametrize("text", ["Fit a larger fuse.", "Take the next size.", "A bigger one."])
def test_the_watch_sees_such_words(text: str) -> None:
    """The words that the test above watches for would be seen if they were there."""
    assert LARGER.search(text)
    assert not FORBIDS.search(text)


@pytest.mark.parametrize(
    ("name", "inputs"),
    [
        ("pull-on-time", {"volts": 12, "ohms": 0.3, "wire_mm": 1.2}),
        ("pull-in-margin", {"supply_volts": 9}),
    ],
)
def test_sums_about_a_fed_winding_carry_their_cautions(
    knowledge: Knowledge, name: str, inputs: dict[str, Any]
) -> None:
    """A sum that makes one think of energising warns of the plunger, the brake, and the manual."""
    cautions = compute(knowledge, name, inputs)["cautions"]
    for rule in ("step-energises", "step-releases-brake"):
        because = knowledge.rules[rule].because
        assert f"{because.found} {because.next}" in cautions
    assert cautions[-1] == MANUAL
    assert "manual wins" in MANUAL


def test_time_on_is_no_leave(knowledge: Knowledge) -> None:
    """The time until the insulation suffers is told as a danger, hot coil included."""
    answer = compute(knowledge, "pull-on-time", {"volts": 12, "ohms": 0.3, "wire_mm": 1.2})
    assert "not a time to use up" in answer["says"]
    assert answer["cautions"][0].startswith("This is no leave to hold the pull on")
    hot = knowledge.rules["step-hot"].because
    assert f"{hot.found} {hot.next}" in answer["cautions"]


def test_unknown_class_counts_as_the_lowest(knowledge: Knowledge) -> None:
    """Where the thermal class is not said, the lowest of IEC 60085 counts: the safe side."""
    given_ = {"volts": 12, "ohms": 0.3, "wire_mm": 1.2}
    lowest = compute(knowledge, "pull-on-time", given_ | {"thermal_class": "A"})
    assert compute(knowledge, "pull-on-time", given_) == lowest


def test_ohms_readings_carry_their_caution(knowledge: Knowledge) -> None:
    """Reading ohms between pins carries the caution about circuits that are still fed."""
    readings = {"ab_ohms": 0.33, "bc_ohms": 18.83, "ca_ohms": 18.5}
    answer = compute(knowledge, "which-pin", readings | {"pull_ohms": 0.33, "hold_ohms": 18.5})
    because = knowledge.rules["step-ohms"].because
    assert f"{because.found} {because.next}" in answer["cautions"]


def test_more_current_opens_a_fuse_no_later(knowledge: Knowledge) -> None:
    """The latest time never grows with the current (ISO 8820-3 rows, read from the safe side)."""
    times = [
        figures(compute(knowledge, "fuse-opening", {"fuse_amps": 20, "amperes": amperes}))
        for amperes in range(27, 90)
    ]
    latest = [found["latest_seconds"] for found in times]
    assert latest == sorted(latest, reverse=True)
