"""A recording dropped on a call: cautions first, the plot, each finding confirmed by a tick."""

import gzip
import io
import re
from typing import Any

from api.recordings.document import READING
from tests.desk.support import BRAKE, Browser, text_of
from tests.traces.support import text


def at_form(desk: Browser) -> str:
    """Open a call on a fuel circuit and its page for a recording; return the case's address."""
    address = desk.start()
    desk.get(f"{address}/recording")
    return address


def drop(desk: Browser, address: str, raw: bytes, name: str, **fields: Any) -> Any:
    """Send a file as the page's form does."""
    data = {**desk.hidden(f"{address}/recording"), **fields, "file": (io.BytesIO(raw), name)}
    desk.page = desk.client.post(
        f"{address}/recording", data=data, content_type="multipart/form-data"
    )
    return desk.page


def test_cautions_stand_before_the_file(desk: Browser) -> None:
    """The brake, the crank and the plunger are named above the form that takes a file."""
    at_form(desk)
    words = text_of(desk.page)
    for one in ("chocked", "engine turns", "plunger moves", "live"):
        assert words.index(one) < words.index("The recorder's file")


def test_only_what_is_ticked_counts(desk: Browser) -> None:
    """The plot and its marks are shown, nothing is in the case yet; one tick adds one finding."""
    address = at_form(desk)
    page = drop(desk, address, gzip.compress(text().encode()), "pull.csv.gz")
    assert page.status_code == 200, text_of(page)
    assert "<svg" in page.text
    assert "pull ends" in page.text
    assert "<style" not in page.text
    number = address.rpartition("/")[2]
    before = desk.client.get(f"/v1/cases/{number}").json["findings"]
    ticks = re.findall(r'name="finding" value="([^"]+)"', page.text)
    assert len(ticks) >= 4
    chosen = next(one for one in ticks if "pull-current" in one).replace("&#34;", '"')
    done = desk.send(f"{address}/recording/findings", finding=chosen)
    assert done.status_code == 303, text_of(done)
    after = desk.client.get(f"/v1/cases/{number}").json["findings"]
    assert len(after) == len(before) + 1
    assert after[-1]["check"] == "pull-current"


def test_nothing_ticked_and_nonsense_are_told(desk: Browser) -> None:
    """Without a tick the page says so; what is no finding is refused, not kept."""
    address = at_form(desk)
    for junk in ({}, {"finding": "{"}, {"finding": "[1]"}, {"finding": '{"check": "no-such"}'}):
        drop(desk, address, text().encode(), "pull.csv")
        assert desk.send(f"{address}/recording/findings", **junk).status_code == 422


def test_a_bad_file_is_told_with_its_place(desk: Browser) -> None:
    """Row and column; no file at all, a slip in the columns, a rate that is none."""
    address = at_form(desk)
    broken = text().replace("0.60000;", "oops;").encode()
    assert "row 3002, column 1" in text_of(drop(desk, address, broken, "x.csv")).lower()
    assert desk.page.status_code == 422
    assert "Choose the file" in text_of(drop(desk, address, b"", ""))
    slip = drop(desk, address, text().encode(), "x.csv", channels="time,pul-current,-")
    assert "did you mean" in text_of(slip)
    assert drop(desk, address, text().encode(), "x.csv", rate="fast").status_code == 422


def test_more_than_a_mebibyte_is_refused(desk: Browser) -> None:
    """As any other form that is too large."""
    address = at_form(desk)
    kind = "multipart/form-data; boundary=x"
    raw = desk.client.post(f"{address}/recording", data=bytes(1_200_000), content_type=kind)
    assert raw.status_code == 413


def test_nobody_is_sent_to_record_where_a_danger_rules_it_out(desk: Browser) -> None:
    """A brake that does not hold is not released for a recording: no link, and the page says so."""
    fuel = desk.start()
    assert f"{fuel}/recording" in desk.get(f"{fuel}?as=technician").text
    brake = desk.start({**BRAKE, "symptom-brake-release": "will-not-hold"})
    assert f"{brake}/recording" not in desk.get(f"{brake}?as=technician").text
    assert "Do not record on this machine now" in text_of(desk.get(f"{brake}/recording"))


def test_one_recording_at_a_time(desk: Browser) -> None:
    """While another one is read, by whichever door, no thread waits: the page says so."""
    address = at_form(desk)
    with READING:
        assert drop(desk, address, text().encode(), "pull.csv").status_code == 429
    assert "Send the file again" in text_of(desk.page)
    assert drop(desk, address, text().encode(), "pull.csv").status_code == 200
