"""The picture of two bands and a reading, checked by simple proportion; the bench sums' pages."""

import re
from xml.etree import ElementTree as ET

import pytest

from api import sums
from api.desk.view_model import CauseChance
from api.drawing import bands
from tests.desk.support import Browser, text_of

SVG = "{http://www.w3.org/2000/svg}"


def drawn(picture: str) -> tuple[dict[str, tuple[float, float]], float]:
    """Return where the bands lie and where the reading stands, in pixels."""
    root = ET.fromstring(picture)  # noqa: S314 - our own
    boxes = {
        str(one.get("class")): (
            float(one.get("x", "")), float(one.get("x", "")) + float(one.get("width", "")),
        )
        for one in root.iter(f"{SVG}rect")
    }  # fmt: skip
    line = next(one for one in root.iter(f"{SVG}path") if one.get("class") == "band-reading")
    return boxes, float(str(line.get("d")).split()[0].removeprefix("M"))


@pytest.mark.parametrize("value", [0.5, 3.0, 9.0, 10.0, 11.5])
def test_the_reading_lies_in_the_bands_that_hold_it(value: float) -> None:
    """On an even scale the reading is drawn inside a band exactly when it is inside it."""
    picture = bands.svg((1.0, 10.0), (9.0, 11.0), value, "V", "words")
    boxes, at = drawn(picture)
    for name, (low, high) in (("band-cause", (1.0, 10.0)), ("band-healthy", (9.0, 11.0))):
        left, right = boxes[name]
        assert (left - 0.06 <= at <= right + 0.06) == (low <= value <= high), name


def places(ends: tuple[float, float], *values: float) -> list[float]:
    """Return where readings stand in pictures of the same scale, which ``ends`` span."""
    return [drawn(bands.svg(ends, ends, value, "V", "words"))[1] for value in values]


def test_an_even_scale_is_even() -> None:
    """Equal steps of the value are equal steps of the picture (the rule of three)."""
    at = places((0.0, 12.0), 2.0, 4.0, 8.0, 10.0)
    assert at[1] - at[0] == pytest.approx(at[3] - at[2], abs=0.11)
    assert at[1] - at[0] > 20


def test_decades_are_drawn_in_logs() -> None:
    """From milliohms to megohms each power of ten takes the same room."""
    at = places((0.01, 1e6), 0.1, 1.0, 1e4, 1e5)
    assert at[1] - at[0] == pytest.approx(at[3] - at[2], abs=0.11)
    assert at[1] - at[0] > 20


def test_over_range_stands_at_the_end() -> None:
    """A reading over range is drawn at the right end, a band that is open there too."""
    boxes, at = drawn(bands.svg(None, (0.3, 0.5), None, "ohm", "words"))
    assert at == max(right for _, right in boxes.values())
    assert boxes["band-cause"][1] == at


def test_a_narrow_band_can_still_be_seen() -> None:
    """A band of no width keeps a few pixels, around its place."""
    boxes, at = drawn(bands.svg((0.0, 0.0), (11.9, 12.1), 12.0, "V", "words"))
    for left, right in boxes.values():
        assert right - left >= 3.9
    assert boxes["band-healthy"][0] < at < boxes["band-healthy"][1]


@pytest.mark.parametrize("name", sums.SUMS)
def test_each_sum_has_a_page(desk: Browser, name: str) -> None:
    """A bench sum's page shows its example worked, with formula, source, cautions and curve."""
    about = sums.SUMS[name]
    page = desk.get(f"/desk/sums/{name}")
    words = text_of(page)
    for part in (about.title, "Result of the example", "Formula", "Source", "Caution"):
        assert part in words
    inputs = dict(about.example)
    answer = desk.client.post(f"/v1/sums/{name}", json=inputs).get_json()
    assert " ".join(answer["says"].split()) in words
    assert ('class="plot"' in page.text) == (answer["curve"] is not None)
    closed = [one for one in about.fields if one.one_of]
    assert page.text.count("<select") == len(closed)


def test_a_sum_is_worked_with_what_was_typed(desk: Browser) -> None:
    """12 V over 0.4 ohm is 30 A (Ohm's law); a decimal comma is read too."""
    page = desk.get("/desk/sums/winding-current?volts=12&ohms=0,4")
    assert "30 A" in text_of(page)
    page = desk.get("/desk/sums/winding-current?volts=12+V&ohms=400+mohm")
    assert "30 A" in text_of(page)


def test_a_sum_reads_numbers_as_the_call_does(desk: Browser) -> None:
    """Digits that mean one thing here and another there are refused, and so is another unit."""
    page = desk.get("/desk/sums/winding-current?volts=1,234&ohms=400+mV")
    assert "can be 1234 or 1.234" in text_of(page)
    assert "is not in ohm" in text_of(page)


def test_a_sum_refuses_at_the_field(desk: Browser) -> None:
    """What cannot be worked is told at its field, and what was typed stays."""
    page = desk.get("/desk/sums/winding-current?volts=twelve&ohms=0.4")
    assert page.status_code == 422
    assert 'value="twelve"' in page.text
    assert 'id="fault-volts"' in page.text


def test_the_chances_of_a_cause_over_the_call_are_a_small_line(desk: Browser) -> None:
    """Each likely cause has a line with a point a step, from what was kept; the first step none."""
    case = desk.start()
    assert "<polyline" not in desk.page.text
    desk.answer(case, "relay-click", outcome="heard")
    desk.answer(case, "plunger-action", outcome="no-movement")
    found = re.findall(r'<polyline points="([^"]+)"', desk.get(case).text)
    assert found
    assert max(len(one.split()) for one in found) == 3
    assert all(one.split()[-1].startswith("100.0,") for one in found[:1])


def test_a_chance_that_was_not_kept_is_a_gap() -> None:
    """A line is broken where a step kept no chance, and its height is the chance."""
    of = CauseChance("a", 0.5, 0.1, (0.0, 1.0, None, 0.5, 0.5))
    assert of.lines == ["0.0,19.0 25.0,1.0", "75.0,10.0 100.0,10.0"]
    assert CauseChance("a", 0.5, None, (0.5,)).lines == []
