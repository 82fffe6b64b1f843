"""What keeps the desk safe: tokens, headers, escaping, keys, two people on one case, errors."""

import itertools
import re
from collections.abc import Callable
from html.parser import HTMLParser
from itertools import product
from typing import Any

import pytest
from flask import Flask

from api import create_app, settings
from api.access import keys
from api.store import Database, StoreUnavailableError
from engine import Diagnoser, Knowledge
from tests.desk.support import BRAKE, READ_OUT, Browser, text_of
from tests.sweeps import swept

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{ 7*7 }}"
FORMS = ("/desk/call", "/desk/name", "/desk/sign-in", "/desk/sign-out")
STEPS = ("answers", "strike", "machine", "control", "put-right", "hand-over", "close", "reopen")


class Checker(HTMLParser):
    """Collects what a strict policy forbids, ids used twice, and where things are loaded from."""

    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []
        self.ids: list[str] = []
        self.loaded: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Look at one tag."""
        found = {name: value or "" for name, value in attrs}
        self.bad += [f"{tag} {name}" for name in found if name == "style" or name.startswith("on")]
        if tag == "style" or (tag == "script" and "src" not in found):
            self.bad.append(tag)
        if "id" in found:
            self.ids.append(found["id"])
        self.loaded += [found[name] for name in ("src", "srcset", "action") if name in found]
        if tag == "link":
            self.loaded.append(found["href"])


@pytest.fixture
def case(desk: Browser) -> str:
    """A case with hostile words in every field that takes words."""
    address = desk.start(
        BRAKE, fleet_number=HOSTILE[:40], machine_type=HOSTILE, reference=HOSTILE,
        complaint=HOSTILE,
    )  # fmt: skip
    desk.answer(address, "relay-click", outcome="heard", note=HOSTILE)
    desk.get(f"{address}/hand-over")
    desk.send(f"{address}/hand-over", handed_to=HOSTILE)
    return address


def pages(case: str) -> list[str]:
    """Return every page there is about a case, and those about none."""
    about = ("", "?find=relay", "?check=pull-winding-ohms", "?change=2", "?as=technician",
             "/machine", "/hand-over", "/close", "/sheet",
             "/meaning?check=relay-click", "/drawing?check=pull-pin-voltage")  # fmt: skip
    others = ("/desk", "/desk?q=x&state=all", "/desk/call", "/desk/sums", "/desk/sums/fuse-opening",
              "/desk/sign-in", "/desk/nowhere", "/desk/resume?number=12")  # fmt: skip
    return [*(case + one for one in about), *others]


def test_nothing_inline_nothing_from_elsewhere(desk: Browser, case: str) -> None:
    """No page has an inline script, style or handler, loads from elsewhere, or uses an id twice."""
    for address in pages(case):
        page = desk.get(address)
        found = Checker()
        found.feed(page.text)
        assert found.bad == [], address
        assert all(one.startswith("/desk") for one in found.loaded), (address, found.loaded)
        assert len(found.ids) == len(set(found.ids)), address
        policy = page.headers["Content-Security-Policy"]
        assert "unsafe" not in policy
        assert "default-src 'none'" in policy
        assert page.headers["X-Content-Type-Options"] == "nosniff"
        assert page.headers["Cache-Control"] == "no-store"


def test_words_of_people_are_shown_as_words(desk: Browser, case: str) -> None:
    """Markup and template signs in what people typed never become markup on any page."""
    for address in pages(case):
        text = desk.get(address).text
        assert "<script>alert" not in text, address
        assert "<img" not in text, address
        assert "49" not in re.findall(r"onerror=alert\(2\)&gt;(\S+)", text)
    assert "{{ 7*7 }}" in text_of(desk.get(case))


def test_a_form_without_its_mark_changes_nothing(desk: Browser, case: str) -> None:
    """Every step of a case refuses a form that lacks this browser's token, in words; so do
    starting a call, the name and signing in."""
    desk.get(case)
    before = desk.version
    others = Browser(desk.client.application).hidden("/desk/name")["csrf"]
    for step, data in product(STEPS, ({}, {"csrf": "0" * 64}, {"csrf": others})):
        answer = desk.client.post(f"{case}/{step}", data={**data, "version": str(before)})
        assert answer.status_code == 400, (step, data)
        assert "This form is not taken" in text_of(answer)
    desk.get(case)
    assert desk.version == before
    for address in FORMS:
        assert desk.client.post(address, data={"duty": "1"}).status_code == 400, address


def test_a_form_sent_by_another_site_is_refused(
    desk: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    """A browser that says the form came from another site, or origin, is believed; the log names
    the origin, which tells a proxy's slip from a forgery."""
    desk.get("/desk/call")
    data = {**desk.hidden("/desk/call"), **READ_OUT, "duty": "1"}
    for name, said in (
        ("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Site", "same-site"),
        ("Origin", "https://elsewhere.example"), ("Origin", "null"),
    ):  # fmt: skip
        answer = desk.client.post("/desk/call", data=data, headers={name: said})
        assert answer.status_code == 400, said
    assert '"origin":"https://elsewhere.example","host":"localhost"' in caplog.text
    own = {"Origin": "http://localhost"}
    assert desk.client.post("/desk/call", data=data, headers=own).status_code == 303


def test_the_cookie_is_kept_from_scripts(app: Flask) -> None:
    """The browser's secret is HttpOnly, SameSite, and for the desk's pages alone."""
    cookie = app.test_client().get("/desk").headers["Set-Cookie"]
    for word in ("HttpOnly", "SameSite=Lax", "Path=/desk"):
        assert word in cookie


def test_a_form_sent_twice_counts_once(desk: Browser) -> None:
    """The same form again, as after a lost answer, leads to the same page and adds nothing."""
    case = desk.start()
    desk.get(f"{case}?check=relay-click")
    fields = {**desk.hidden(f"{case}/answers"), "outcome": "heard"}
    first = desk.client.post(f"{case}/answers", data=fields)
    again = desk.client.post(f"{case}/answers", data=fields)
    assert (first.status_code, again.status_code) == (303, 303)
    assert first.headers["Location"] == again.headers["Location"]
    desk.get(case)
    assert desk.version == 2


def test_a_call_started_twice_is_one_case(desk: Browser) -> None:
    """Sending the first form again leads to the case that it opened."""
    desk.get("/desk/call")
    fields = {**desk.hidden("/desk/call"), **READ_OUT, "duty": "1"}
    made = {desk.client.post("/desk/call", data=fields).headers["Location"] for _ in range(3)}
    assert len(made) == 1


def test_marks_of_two_browsers_do_not_mix(desk: Browser, app: Flask) -> None:
    """A mark that another browser has used says nothing about this one's form."""
    case = desk.start()
    other = Browser(app)
    for browser in (desk, other):
        browser.join(case, "relay-click")
        fields = {**browser.hidden(f"{case}/answers"), "nonce": "a" * 32, "outcome": "heard"}
        assert browser.client.post(f"{case}/answers", data=fields).status_code == 303
    desk.get(case)
    assert desk.version == 3


def test_two_agents_on_one_case(desk: Browser, app: Flask) -> None:
    """Who was slower is told what the other did, keeps what was typed, and sends it once more."""
    case = desk.start()
    other = Browser(app)
    desk.get(f"{case}?check=pull-pin-voltage")
    other.answer(case, "relay-click", outcome="heard")
    page = desk.send(f"{case}/answers", value="11.4", unit="V", note="min/max")
    assert page.status_code == 412
    words = text_of(page)
    assert "somebody else was quicker" in words
    assert "local added relay-click heard" in words or "The relay clicks" in words
    assert "You had: Voltage at the pull pin under load: 11.4 V" in words
    assert 'value="11.4"' in page.text
    assert "min/max</textarea>" in page.text
    assert desk.send(f"{case}/answers", value="11.4", unit="V", note="min/max").status_code == 303


def test_striking_out_what_moved_on_is_not_done_blindly(desk: Browser, app: Flask) -> None:
    """Striking out, and changing the machine, of a case that moved on are asked for once more."""
    case = desk.start()
    desk.get(case)
    fields = desk.hidden(f"{case}/strike")
    Browser(app).answer(case, "relay-click", outcome="heard")
    page = desk.client.post(f"{case}/strike", data={**fields, "place": "1"})
    assert page.status_code == 412
    desk.get(f"{case}/machine")
    Browser(app).answer(case, "fuse-look", outcome="intact")
    page = desk.send(f"{case}/machine", duty="1", fleet_number="typed meanwhile")
    assert page.status_code == 412
    assert 'value="typed meanwhile"' in page.text
    assert desk.send(f"{case}/machine", duty="1", fleet_number="8").status_code == 303


def test_a_case_closed_meanwhile_says_so(desk: Browser, app: Flask) -> None:
    """An answer to a case that the other closed is not lost in silence."""
    case = desk.start()
    desk.get(f"{case}?check=relay-click")
    other = Browser(app)
    other.get(f"{case}/close")
    other.send(f"{case}/close", cause="unknown")
    page = desk.send(f"{case}/answers", outcome="heard")
    assert page.status_code == 412
    assert "The case is closed; reopen it to add that" in text_of(page)


def test_errors_are_pages_in_words(desk: Browser) -> None:
    """What is not there is told on a page, never as a problem document or a failure."""
    data = {"csrf": desk.hidden("/desk/name")["csrf"]}
    for method, address in (
        ("GET", "/desk/nowhere"), ("GET", "/desk/cases/12345678"),
        ("GET", "/desk/cases/not-a-number"), ("GET", "/desk/cases/12345678/sheet"),
        ("GET", "/desk/sums/nothing"), ("GET", "/desk/static/..%2f..%2fsettings.py"),
        ("GET", "/desk/static/secrets.txt"), ("POST", "/desk/sums"),
        ("PUT", "/desk/cases/12345678"),
    ):  # fmt: skip
        answer = desk.client.open(address, method=method, data=data if method != "GET" else None)
        assert answer.status_code == 404, address
        assert answer.mimetype == "text/html", address
        assert "Nothing was changed" in text_of(answer) or "case" in text_of(answer).lower()


def test_odd_forms_are_never_a_failure(desk: Browser) -> None:
    """Fields that no page of ours would send are refused or left alone: no 500."""
    case = desk.start(BRAKE)
    desk.get(case)
    mark = desk.hidden(f"{case}/strike")["csrf"]
    odd: list[dict[str, Any]] = [
        {}, {"check": "no-such"}, {"check": "relay-click", "outcome": "no-such"},
        {"check": "pull-current", "value": "1e400", "unit": "A", "version": "1"},
        {"check": "pull-current", "value": "nan", "unit": "A", "version": "1"},
        {"check": "pull-current", "value": "5", "unit": "\x00", "version": "1"},
        {"check": "pull-current", "value": "5", "unit": "A", "plug": "sideways"},
        {"check": "pull-current", "value": "5", "unit": "A", "circumstances": ["no-such"]},
        {"check": "relay-click", "outcome": "heard", "note": "\x07bell", "version": "1"},
        {"check": "relay-click", "outcome": "heard", "replaces": "99", "version": "-1"},
        {"check": "relay-click", "outcome": "heard", "version": "9" * 400},
        {"check": "relay-click", "outcome": "heard", "side": "above", "nonce": "x"},
        {"place": "x" * 50}, {"cause": "no-such"}, {"control": "no-such"}, {"handed_to": "\x01"},
        {"duty": "9"}, {"duty": "1", "fuse_amps": "1e999"}, {"duty": "1", "fleet_number": "x" * 99},
        {"minutes": "9" * 30, "cause": "healthy"}, {"because": "x" * 900},
    ]  # fmt: skip
    for step, data in swept(itertools.product(STEPS, odd), 5):
        answer = desk.client.post(f"{case}/{step}", data={**data, "csrf": mark})
        assert answer.status_code < 500, (step, data)
        assert answer.mimetype == "text/html"
    for data in odd:
        answer = desk.client.post("/desk/call", data={**data, "csrf": mark})
        assert answer.status_code in (303, 422), data


def test_a_store_that_is_away_is_told_and_nothing_fails(
    desk: Browser, app: Flask, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the database does not answer, pages say so with 503, and a form is not lost to 500."""
    case = desk.start()

    def away(*_: object, **__: object) -> None:
        raise StoreUnavailableError("the database does not answer; nothing was kept")

    monkeypatch.setattr(Database, "reading", away)
    for answer in (
        desk.client.get("/desk"), desk.client.get(case),
        desk.client.post(f"{case}/answers", data=desk.hidden(f"{case}/strike")),
    ):  # fmt: skip
        assert answer.status_code == 503
        assert "cannot be reached now" in text_of(answer)
        assert answer.headers["Retry-After"]


def test_without_a_store_the_desk_says_so(knowledge: Knowledge, engine: Diagnoser) -> None:
    """A server that keeps nothing has no calls, and its bench sums work all the same."""
    client = create_app({"KNOWLEDGE": knowledge, "DIAGNOSER": engine}).test_client()
    assert client.get("/desk").status_code == 503
    assert client.get("/desk/sums/fuse-opening").status_code == 200


@pytest.fixture
def locked(
    knowledge: Knowledge, engine: Diagnoser, store: Database
) -> tuple[Flask, Callable[[str], str]]:
    """An application that needs keys, and what makes one."""
    found = settings.load({"require_keys": "yes"}, environment={})
    app = create_app(
        {"KNOWLEDGE": knowledge, "DIAGNOSER": engine, "SETTINGS": found, "DATABASE": store}
    )
    return app, lambda role: store.write(lambda session: keys.make(session, "the till", role)[1])


def test_with_keys_the_desk_asks_for_one(locked: tuple[Flask, Callable[[str], str]]) -> None:
    """Without a key a page asks for it; with one the browser is signed in until it signs out."""
    app, make_key = locked
    client = app.test_client()
    page = client.get("/desk/call")
    assert page.status_code == 401
    assert 'type="password"' in page.text
    key = make_key("agent")
    mark = re.findall(r'name="csrf" value="(\w+)"', page.text)[0]
    wrong = client.post("/desk/sign-in", data={"csrf": mark, "key": "nonsense"})
    assert (wrong.status_code, "no such key" in text_of(wrong)) == (422, True)
    done = client.post("/desk/sign-in", data={"csrf": mark, "key": key, "next": "/desk/call"})
    assert (done.status_code, done.headers["Location"]) == (303, "/desk/call")
    home = client.get("/desk")
    assert "Sign out the till" in text_of(home)
    assert client.post("/desk/sign-out", data={"csrf": mark}).status_code == 400  # of before
    mark = re.findall(r'name="csrf" value="(\w+)"', home.text)[0]
    client.post("/desk/sign-out", data={"csrf": mark})
    assert client.get("/desk").status_code == 401


def test_signing_in_leads_to_the_desk_alone(locked: tuple[Flask, Callable[[str], str]]) -> None:
    """An address of another place is not gone to after signing in."""
    app, make_key = locked
    key = make_key("agent")
    for wanted in (
        "https://elsewhere.example/", "//elsewhere.example", "/desk\\..\\x", "/v1/cases", "",
    ):  # fmt: skip
        client = app.test_client()
        mark = re.findall(r'name="csrf" value="(\w+)"', client.get("/desk/sign-in").text)[0]
        data = {"csrf": mark, "key": key, "next": wanted}
        assert client.post("/desk/sign-in", data=data).headers["Location"] == "/desk", wanted


def test_a_key_that_only_reads_changes_nothing(locked: tuple[Flask, Callable[[str], str]]) -> None:
    """With a key that only reads, the calls are seen and no case is opened: told in words."""
    app, make_key = locked
    client = app.test_client()
    mark = re.findall(r'name="csrf" value="(\w+)"', client.get("/desk/sign-in").text)[0]
    client.post("/desk/sign-in", data={"csrf": mark, "key": make_key("read")})
    assert client.get("/desk").status_code == 200
    answer = client.post("/desk/call", data={"csrf": mark, "duty": "1"})
    assert answer.status_code == 403
    assert "That is not for this key" in text_of(answer)
