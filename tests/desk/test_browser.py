"""The desk as people use it: real Chromium, real server, by keyboard, on both screen sizes."""

import io
import os
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from itertools import count
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from PIL import Image
from playwright.sync_api import Browser, Error, Page

from api.access import keys
from api.store import Database
from engine import Knowledge
from engine.knowledge.items import Check
from tests.desk import browser as b
from tests.desk.calls import BRAKE_WITH_LAMP, CALLS, FULL_KIT_TWO_FAULTS, Whole
from tests.serving import Running
from tests.sweeps import ONLY_SLOW

_MACHINES = count(1)

pytestmark = pytest.mark.skipif(b.missing(), reason="Chromium is not installed; .ci/run does it")


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A real server on a store of its own, which learns nothing: one test's closed calls would
    move the chances of the next, at a moment nobody knows."""
    home = tmp_path_factory.mktemp("desk")
    apart = {"THREEWIRE_LEARN": "no"}
    running = Running(home, "--database", b.new_store(home), environment=apart)
    yield running
    running.stop()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """One Chromium for all of these tests; each has a profile of its own in it."""
    with b.chromium() as running:
        yield running


def begin(page: Page, call: Whole) -> b.Typist:
    """Start a call at the keyboard."""
    hand = b.Typist(page)
    # each call is of another machine: an open case of the same one would be asked about
    words = {
        "fleet_number": f"{call.fleet_number}-{next(_MACHINES)}"[-40:],
        "machine_type": call.machine_type,
    }
    hand.start(words, call.digits, call.complaint)
    return hand


def case_of(page: Page) -> str:
    """Return the address of the case that is shown."""
    return str(page.evaluate("document.body.dataset.case"))


def close_as(page: Page, hand: b.Typist, cause: str) -> None:
    """Close the case that is shown with a cause, at the keyboard."""
    page.goto(f"{case_of(page)}/close?cause={cause}")
    hand.tab_to("minutes")
    page.keyboard.type("45")
    b.press(page, "Enter")
    page.wait_for_selector("text=This case is closed")


def kept(server: Running, case: str) -> dict[str, object]:
    """Return the case as programs see it."""
    found: dict[str, object] = server.ask("GET", f"/v1/cases/{case.rsplit('/', 1)[1]}").json()
    return found


@pytest.mark.parametrize(
    ("call", "size"), [(CALLS[0], "office"), (CALLS[1], "phone")], ids=["fuel", "brake"]
)
def test_a_whole_call_by_keyboard_alone(
    server: Running, chromium: Browser, call: Whole, size: str
) -> None:
    """From the first key to the closed case no mouse is needed, and the cause comes out.

    On each step, the last too, what is said, who leads, the warning and six answers are in sight at
    once on both screens, and few words beside them.
    """
    with b.screen(chromium, server.url, size) as page:
        hand = begin(page, call)
        case = case_of(page)
        asked = hand.go_through(call.truth, b.assert_first_screen)
        b.assert_first_screen(page, "the end")
        assert len(asked) >= 2
        leading = page.inner_text(".beliefs li:first-child .belief-name")
        close_as(page, hand, call.cause)
        found = kept(server, case)
        assert found["state"] == "closed"
        told = found["findings"]
        assert isinstance(told, list)
        assert [one["check"] for one in told[1:]] == asked
        assert found["outcome"]["cause"] == call.cause  # type: ignore[index]
        likely = [one["id"] for one in found["leading"]["causes"][:3]]  # type: ignore[index]
        assert call.cause in likely, (leading, likely)


def test_the_brake_call_belongs_to_its_side(server: Running, chromium: Browser) -> None:
    """Answers about the right solenoid are the right one's; the left side knows none of them."""
    with b.screen(chromium, server.url) as page:
        hand = begin(page, BRAKE_WITH_LAMP)
        case = case_of(page)
        hand.answer(BRAKE_WITH_LAMP.truth.get(str(hand.asked), b.NOT_KNOWN))
        told = kept(server, case)["findings"]
        assert isinstance(told, list)
        assert {one.get("side") for one in told} <= {"right", None}
        assert told[0]["side"] == "right"
        hand.tab_to("Look at the left side")
        b.press(page, "Enter")
        page.wait_for_selector(".side strong:has-text('left')")
        assert hand.asked == "brake-response"


def test_back_leads_out_of_a_call(server: Running, chromium: Browser) -> None:
    """However many answers were given at one address: to where the call was begun."""
    with b.screen(chromium, server.url) as page:
        begin(page, CALLS[0]).go_through(CALLS[0].truth, most=2)
        page.go_back()
        page.wait_for_selector("#fleet_number")


def test_two_faults_are_told_as_two(server: Running, chromium: Browser) -> None:
    """With the full kit and two faults the page names a pair; the call ends closed."""
    with b.screen(chromium, server.url, "phone") as page:
        hand = begin(page, FULL_KIT_TWO_FAULTS)
        case = case_of(page)
        hand.go_through(FULL_KIT_TWO_FAULTS.truth, most=4)
        for check in ("pull-pin-voltage", "hold-current", "pull-current", "bench-pull"):
            told = kept(server, case)["findings"]
            assert isinstance(told, list)
            if check not in {one["check"] for one in told}:
                b.press(page, "/")
                page.keyboard.type(check.replace("-", " "))
                b.press(page, "Enter")
                page.wait_for_url("**find=*")
                hand.tab_to(page.inner_text(f'a.button.small[href*="check={check}"]'))
                b.press(page, "Enter")
                page.wait_for_selector(f'[name=check][value="{check}"]', state="attached")
                hand.answer(FULL_KIT_TWO_FAULTS.truth[check])
        # folded under a doubt of the last answer where there is one
        assert "Two faults at once fit better" in (page.text_content("#doubted") or "")
        leading = kept(server, case)["leading"]["causes"][0]["id"]  # type: ignore[index]
        close_as(page, hand, leading)
        assert kept(server, case)["state"] == "closed"


def test_keys_open_evidence_reasons_and_meaning(server: Running, chromium: Browser) -> None:
    """e, w and m open what speaks for a cause, why it is asked, and what answers would mean."""
    with b.screen(chromium, server.url) as page:
        begin(page, CALLS[0])
        for key, place in (("e", "#evidence"), ("w", "#why"), ("m", "#meant")):
            b.press(page, key)
            assert page.eval_on_selector(place, "one => one.open"), key
        page.wait_for_selector("#meaning >> text=would lead")


def test_a_technician_sees_each_step_at_once(server: Running, chromium: Browser) -> None:
    """With the full kit too, reading box, warning and what to do need no scrolling, in the
    steps with most dangers too."""
    with b.screen(chromium, server.url) as page:
        hand = begin(page, FULL_KIT_TWO_FAULTS)
        hand.go_through(FULL_KIT_TWO_FAULTS.truth, b.assert_first_screen, most=6)
        for check in ("bench-pull", "ground-jumper", "plunger-timing", "pull-pin-voltage"):
            page.goto(f"{case_of(page)}?check={check}")
            page.wait_for_selector("html[data-ready]", state="attached")
            b.assert_first_screen(page, check)
        for size in b.SIZES.values():
            page.set_viewport_size(size)  # type: ignore[arg-type]
            assert page.evaluate(_CLIPPED) == 0, "no legend or answer is cut off at the right"


@pytest.mark.parametrize("call", CALLS[:2], ids=["fuel", "brake"])
def test_a_check_out_of_turn_has_few_words_on_a_phone(
    server: Running, chromium: Browser, call: Whole, knowledge: Knowledge
) -> None:
    """Each check that somebody looks up, those with most to say first, needs no scrolling either;
    all of them where time is no matter."""
    with b.screen(chromium, server.url, "phone") as page:
        digits = f"{call.digits[0]}0{call.digits[2:]}"
        begin(page, replace(call, digits=digits, complaint=""))
        cut, words = b.first_screen(page)  # the complaint, which nobody knows yet, is asked in turn
        assert (cut, words <= b.MOST_WORDS["phone"]) == ([], True), words
        page.goto(f"{case_of(page)}?find=&as=technician")
        ways = page.eval_on_selector_all("#more a[href*='check=']", "all => all.map((a) => a.href)")
        ways.sort(
            key=lambda way: -_words(knowledge.checks[parse_qs(urlsplit(way).query)["check"][0]])
        )
        assert len(ways) > 60
        for way in ways if os.environ.get("TESTS_SLOW") == "1" else ways[:12]:
            page.goto(way)
            cut, words = b.first_screen(page)
            assert (cut, words <= b.MOST_WORDS["phone"]) == ([], True), (way, words)


def _words(check: Check) -> int:
    """Return how much a check has to say: its sentence and its answers."""
    return len(
        " ".join([check.say, *(check.outcomes.words.values() if check.outcomes else ())]).split()
    )


#: what of these lies below the foot of the form, or beside the screen
_BELOW = """names => {
  const foot = document.querySelector(".send").getBoundingClientRect().top;
  return names.filter((one) => {
    const box = document.querySelector(one).getBoundingClientRect();
    return !box.height || box.bottom > foot || box.right > innerWidth;
  });
}"""


@pytest.mark.parametrize("size", [*b.SIZES, "small office"])
def test_who_does_the_steps_and_with_what_is_asked_in_sight(
    server: Running, chromium: Browser, size: str
) -> None:
    """Beside the machine and what the trouble is with; in an office with the complaint too."""
    with b.screen(chromium, server.url) as page:
        box = b.SIZES.get(size, {"width": 1366, "height": 768})
        page.set_viewport_size(box)  # type: ignore[arg-type]
        page.goto("/desk/call")
        page.check("#duty-1")
        seen = ["#fleet_number", "#machine_type", "#hands", "#skill", ".choice:has(#duty-2)"]
        if size != "phone":
            seen += [".choice:has(#symptom-fuel-shutoff-6)", ".choice:has(#symptom-fuel-shutoff-0)"]
        assert page.evaluate(_BELOW, seen) == []
        page.focus("#skill")
        b.press(page, "1")
        assert page.eval_on_selector("#skill", "one => one.value") == "1"


def test_a_stop_card_stands_alone_until_it_was_read_out(server: Running, chromium: Browser) -> None:
    """A brake that does not hold: three lines and what to press; a digit of an answer is none."""
    with b.screen(chromium, server.url, "phone") as page:
        begin(page, Whole("stop", "3", "dumper", "Rolls.", "24" + "2" + "1"))
        assert "Nothing is holding this machine" in page.inner_text(".stop li:first-child")
        assert not page.query_selector("form.answer, .now, .columns")
        assert b.first_screen(page)[0] == []
        b.press(page, "1")
        b.press(page, "Enter")
        page.wait_for_selector(".now-stop")
        assert not page.query_selector(".stop")
        page.reload()
        assert not page.query_selector(".stop")


def test_a_key_that_is_held_answers_once(server: Running, chromium: Browser) -> None:
    """Held or struck twice it neither answers what comes next nor reads a STOP card out."""
    with b.screen(chromium, server.url) as page:
        hand = begin(page, CALLS[0])
        held = str(page.get_attribute(".answer .unsure", "data-digit"))
        for _ in range(20):  # the browser repeats the key while it is down
            page.keyboard.down(held)
            page.wait_for_timeout(40)
        page.keyboard.up(held)
        page.wait_for_selector("html[data-ready] body[data-version='2']")
        assert hand.version == "2"
        page.goto(f"{case_of(page)}?check=coil-temperature")
        page.wait_for_selector("html[data-ready]", state="attached")
        page.focus('[value="smoking"]')
        page.keyboard.down("Enter")
        page.wait_for_selector(".stop")
        for _ in range(20):  # past the time that a page is deaf
            page.keyboard.down("Enter")
            page.wait_for_timeout(40)
        page.keyboard.up("Enter")
        assert page.is_visible(".stop")


def test_light_and_dark_are_remembered(server: Running, chromium: Browser) -> None:
    """The switch turns the colours round, in this browser, for good; ? lists the keys."""
    with b.screen(chromium, server.url) as page:
        page.goto("/desk")
        paper = "getComputedStyle(document.body).backgroundColor"
        light = page.evaluate(paper)
        page.click("#theme-switch")
        assert page.evaluate(paper) != light
        page.reload()
        page.wait_for_selector("html[data-ready]", state="attached")
        assert page.evaluate(paper) != light
        b.press(page, "?")
        assert page.is_visible("#keys-help >> text=find another check")


def test_the_drawing_is_light_or_dark_as_its_page(server: Running, chromium: Browser) -> None:
    """The switch turns the circuit round as well: it stands on the page, not beside it."""
    with b.screen(chromium, server.url) as page:
        begin(page, CALLS[0])
        page.wait_for_selector("#step")
        page.goto(f"{case_of(page)}/drawing")
        ink = "getComputedStyle(document.querySelector('.tw-text')).fill"
        light = page.evaluate(ink)
        page.click("#theme-switch")
        assert page.evaluate(ink) != light


def test_what_was_searched_has_the_focus(server: Running, chromium: Browser) -> None:
    """What a search found stands at the top of the page, in sight, and has the focus."""
    with b.screen(chromium, server.url, "phone") as page:
        begin(page, CALLS[0])
        b.press(page, "/")
        page.keyboard.type("relay")
        b.press(page, "Enter")
        page.wait_for_url("**find=*")
        page.wait_for_selector("#more summary:focus")
        box = page.locator("#more h3").first.bounding_box()
        assert box is not None
        assert box["y"] < b.SIZES["phone"]["height"]


def test_keys_can_be_turned_off(server: Running, chromium: Browser) -> None:
    """Single keys can be switched off (WCAG 2.1.4), and stay off in this browser."""
    with b.screen(chromium, server.url) as page:
        hand = begin(page, CALLS[0])
        page.focus("#keys-switch")
        b.press(page, "Enter")
        page.reload()
        b.press(page, "1")
        b.press(page, "e")
        assert hand.version == "1"
        assert not page.eval_on_selector("#evidence", "one => one.open")


def test_server_killed_in_mid_call_and_back(tmp_path: Path, chromium: Browser) -> None:
    """An answer given while the server is away is kept, told so, and sent once when it is back."""
    store = b.new_store(tmp_path)
    running = Running(tmp_path, "--database", store)
    try:
        with b.screen(chromium, running.url) as page:
            hand = begin(page, CALLS[0])
            case, asked = case_of(page), hand.asked
            running.kill()
            given = CALLS[0].truth.get(str(asked), b.NOT_KNOWN)
            digit = page.get_attribute(f'[name=outcome][value="{given}"]', "data-digit")
            b.press(page, str(digit))
            page.wait_for_selector("#unsent:not([hidden])")
            assert "Not sent yet" in page.inner_text("#unsent")
            assert "kept on this machine" in page.inner_text("#unsent")
            running = Running(tmp_path, "--database", store, port=running.port)
            page.wait_for_selector("body[data-version='2']")
            assert page.is_hidden("#unsent")
            told = kept(running, case)["findings"]
            assert isinstance(told, list)
            assert [one["check"] for one in told[1:]] == [asked]
            page.goto(f"{case}?check=pull-pin-voltage")
            page.click("form.answer details.more summary")
            page.select_option("#while", "heated")
            page.fill("#value", "11.4")
            running.kill()
            b.press(page, "Enter")
            page.wait_for_selector("#unsent >> text=Not sent yet")
            running = Running(tmp_path, "--database", store, port=running.port)
            page.wait_for_selector("body[data-version='3']")
            told = kept(running, case)["findings"]
            assert isinstance(told, list)
            assert [(one["check"], one.get("while")) for one in told[2:]] == [
                ("pull-pin-voltage", "heated")
            ]
    finally:
        running.kill()


_KEPT_PAGES = """async () => (await Promise.all((await caches.keys()).map(async (name) =>
  (await (await caches.open(name)).keys()).map((one) => one.url)))).flat()"""

#: how each answer was sent: past the worker, where its rules say so
_SENT_BY = """() => performance.getEntriesByType("resource")
  .filter((one) => one.name.endsWith("/answers")).map((one) => one.workerMatchedSourceType)"""

#: the page that is shown is the one that is kept; the desk keeps it after it is shown
_KEPT_SHOWN = """async () => {
  const kept = await caches.match(location.pathname), text = kept && await kept.text();
  const { value } = document.querySelector("form.answer [name=check]");
  const { version } = document.body.dataset;
  return kept && text.includes(`data-version="${version}"`)
    && text.includes(`name="check" value="${value}"`);
}"""


def test_a_reload_without_the_server_shows_the_step(tmp_path: Path, chromium: Browser) -> None:
    """The step in hand is there again, an answer to it waits through a reload and is sent once.

    After sign-out neither a page nor anything that was typed is left in the browser.
    """
    store = b.new_store(tmp_path)
    with closing(Database(store)) as kept_in:
        key = kept_in.write(lambda session: keys.make(session, "the van", "agent")[1])
    needed = {"THREEWIRE_REQUIRE_KEYS": "yes"}
    running = Running(tmp_path, "--database", store, environment=needed)
    try:
        with b.screen(chromium, running.url) as page:
            page.goto("/desk/sign-in")
            page.fill("#key", key)
            b.press(page, "Enter")
            page.wait_for_selector("nav .out")
            hand = begin(page, CALLS[0])
            hand.answer(b.NOT_KNOWN)
            asked, case = hand.asked, case_of(page)
            b.wait_until(page, _KEPT_SHOWN)
            running.kill()
            page.reload()
            page.wait_for_selector("#news >> text=this step is as it was at")
            assert hand.asked == asked
            b.press(page, "0")
            page.wait_for_selector("#unsent >> text=Waiting")
            page.reload()
            page.wait_for_selector("#unsent >> text=Waiting")
            b.press(page, "0")
            page.wait_for_selector("#news >> text=sent already")
            running = Running(tmp_path, "--database", store, port=running.port, environment=needed)
            page.wait_for_selector("body[data-version='3']")
            assert page.evaluate(_SENT_BY)[-1] == "network"
            page.goto(f"{case}?check=pull-pin-voltage")
            b.wait_until(page, _KEPT_SHOWN)
            page.fill("#value", "11.4")
            page.click("nav .out button")
            page.wait_for_selector("#key")
            left = page.evaluate(_KEPT_PAGES)
            assert not [one for one in left if "/cases/" in one], left
            assert "11.4" not in page.evaluate("JSON.stringify(localStorage)")
            running.kill()
            with pytest.raises(Error, match=r"ERR_(CONNECTION_REFUSED|FAILED)"):
                page.goto(case)
    finally:
        running.kill()


def test_two_tabs_are_two_calls(tmp_path: Path, chromium: Browser) -> None:
    """Nothing that is typed or waits in one tab is the other's; both say what waits, sent once.

    What a tab leaves that was closed is sent by the one that is still there.
    """
    store = b.new_store(tmp_path)
    running = Running(tmp_path, "--database", store)
    try:
        with b.screen(chromium, running.url) as one:
            begin(one, FULL_KIT_TWO_FAULTS)
            case, two = case_of(one), one.context.new_page()
            for page in (one, two):
                page.goto(f"{case}?check=pull-pin-voltage")
                page.wait_for_selector("html[data-ready]", state="attached")
            one.fill("#value", "11.4")
            two.reload()
            assert two.input_value("#value") == ""
            begin(two, CALLS[0])
            other, asked = case_of(two), b.Typist(two).asked
            two.wait_for_selector("html[data-ready]", state="attached")
            running.kill()
            one.press("#value", "Enter")
            two.wait_for_selector("#unsent >> text=Waiting in another tab")
            assert "Voltage at the pull pin under load: 11.4 V" in two.inner_text("#unsent")
            two.press("body", "0")
            one.wait_for_selector("#unsent >> text=Waiting in another tab")
            assert "Voltage at the pull pin" in one.inner_text("#unsent")
            two.goto("about:blank")  # it is left
            running = Running(tmp_path, "--database", store, port=running.port)
            one.wait_for_selector("body[data-version='2']")
            one.wait_for_selector("#news >> text=Sent now")
            assert case_of(one) == case
            for number, check in ((case, "pull-pin-voltage"), (other, asked)):
                told = kept(running, number)["findings"]
                assert isinstance(told, list)
                assert [found["check"] for found in told[1:]] == [check]
    finally:
        running.kill()


def test_a_phone_without_a_net_sends_its_photo_later(
    server: Running, chromium: Browser, tmp_path: Path
) -> None:
    """Offline an answer and its photo wait and are said; with the net back they are sent once."""
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (52.0, 31.0, 12.0)}
    Image.new("RGB", (3000, 2000), "teal").save(tmp_path / "taken.jpg", exif=exif)
    with b.screen(chromium, server.url, "phone") as page:
        begin(page, FULL_KIT_TWO_FAULTS)
        case = case_of(page)
        page.goto(f"{case}?check=pull-pin-voltage&as=technician")
        page.wait_for_selector("html[data-ready]", state="attached")
        page.eval_on_selector("form.answer details.more", "one => one.open = true")
        page.set_input_files("#photo", tmp_path / "taken.jpg")
        page.context.set_offline(True)
        page.fill("#value", "11.4")
        page.press("#value", "Enter")
        page.wait_for_selector("#unsent >> text=11.4 V, with a photo")
        page.press("#value", "Enter")
        page.wait_for_selector("#news >> text=sent already")
        page.context.set_offline(False)
        page.wait_for_selector("body[data-version='2']")
        told = kept(server, case)["findings"]
        assert isinstance(told, list)
        assert [one["check"] for one in told[1:]] == ["pull-pin-voltage"]
        (address,) = told[1]["photos"]
        found = page.request.get(f"{server.url}{address}").body()
        assert b"Exif" not in found
        assert Image.open(io.BytesIO(found)).size == (1280, 853)


def test_what_is_typed_survives_a_reload(server: Running, chromium: Browser) -> None:
    """A half-typed reading and its note are still there after the page was loaded anew."""
    with b.screen(chromium, server.url) as page:
        begin(page, FULL_KIT_TWO_FAULTS)
        page.goto(f"{case_of(page)}?check=pull-pin-voltage")
        page.wait_for_selector("html[data-ready]", state="attached")
        page.keyboard.type("11.4")
        page.eval_on_selector("form.answer details.more", "one => one.open = true")
        page.fill("#note", "at the back of the plug")
        page.reload()
        assert page.input_value("#value") == "11.4"
        assert page.input_value("#note") == "at the back of the plug"
        assert "is filled in again" in page.inner_text("#news")
        page.focus("#value")
        b.press(page, "Enter")
        page.wait_for_selector("body[data-version='2']")
        page.goto(f"{case_of(page)}?check=pull-pin-voltage")
        assert page.input_value("#value") == ""


def test_two_agents_see_each_other(server: Running, chromium: Browser) -> None:
    """A page that stands open says what the other agent added, when it looks next."""
    with b.screen(chromium, server.url) as page, b.screen(chromium, server.url) as other:
        begin(page, CALLS[0])
        case = case_of(page)
        other.goto(f"{case}?check=relay-click")
        assert b.first_screen(other)[0] == []
        b.press(other, "Enter")  # who joins reads the machine's warnings out first
        other.wait_for_selector("form.answer")
        b.Typist(other).answer("heard")
        page.wait_for_selector("#news >> text=local added")
        asked = b.Typist(page).asked
        b.press(page, "0")
        page.wait_for_selector("#faults >> text=somebody else was quicker")
        assert b.Typist(page).asked == asked
        b.press(page, "0")
        page.wait_for_selector("body[data-version='3']")


def test_it_works_without_script(server: Running, chromium: Browser) -> None:
    """With scripts off a call is started and answered by plain forms."""
    context = chromium.new_context(base_url=server.url, java_script_enabled=False)
    page = context.new_page()
    page.goto("/desk/call")
    page.check("#duty-1")
    page.check("#symptom-fuel-shutoff-2")
    page.check("#read_out")
    page.click(".send button")
    page.wait_for_selector("#step")
    page.click(".target.unsure")
    page.wait_for_selector(".answers li:nth-child(2)", state="attached")
    context.close()


# The circuit's texts as they are printed, in points: 96 of the browser's pixels are an inch.
_PRINTED = """() => [...document.querySelectorAll(".picture svg")].flatMap((svg) => [...svg
  .querySelectorAll("text")].map((one) => parseFloat(getComputedStyle(one).fontSize) *
  svg.getBoundingClientRect().width / svg.viewBox.baseVal.width * 72 / 96))"""


_BLANKS = """() => [...document.querySelectorAll(".sign-off > span")].map((one) =>
  one.getClientRects().length)"""
_COLUMNS = """() => [...document.querySelectorAll(".two > section")].map((one) =>
  one.getBoundingClientRect().toJSON())"""
_CLIPPED = """() => {
  document.querySelectorAll("details.card").forEach((one) => { one.open = true; });
  return [...document.querySelectorAll(".facts :is(.legend li, .beliefs li, .answers li, .bands)")]
    .filter((one) => one.getBoundingClientRect().right > innerWidth).length;
}"""


def test_the_sheet_prints_on_one_page(server: Running, chromium: Browser, tmp_path: Path) -> None:
    """A work order with six findings fits one page of either paper, cautions and drawing on it; so
    does one that leads to a new part, with all that is to be proved after it."""
    with b.screen(chromium, server.url) as page:
        hand = begin(page, FULL_KIT_TWO_FAULTS)
        hand.go_through(FULL_KIT_TWO_FAULTS.truth, most=5)
        folder = Path(os.environ.get("THREEWIRE_PDF", tmp_path))
        winding = {"check": "pull-to-hold-ohms", "outcome": "open"}
        machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "case-ground"}
        part = server.ask("POST", "/v1/cases", {"machine": machine, "findings": [winding]}).json()
        for case in (f"/desk/cases/{part['number'].replace(' ', '')}", case_of(page)):
            for paper, width in (("a4", b"594.95996 841.91998"), ("letter", b"612 792")):
                page.emulate_media(media="null")
                page.goto(f"{case}/sheet?paper={paper}")
                _assert_printed(page, folder / f"sheet-{paper}.pdf", width)
                drawn = page.evaluate(_PRINTED)
                assert min(drawn, default=6) >= 6, drawn
        assert drawn, "the circuit around the leads of the next check is on the sheet"


def _assert_printed(page: Page, file: Path, width: bytes) -> None:
    """Hold that the sheet that is shown is one page of a width, and can be read and filled in."""
    page.pdf(path=file, prefer_css_page_size=True)
    raw = file.read_bytes()
    assert raw.count(b"/Type /Page\n") + raw.count(b"/Type /Page ") == 1
    assert width in raw, raw[raw.find(b"/MediaBox") :][:60]
    page.emulate_media(media="print")
    assert page.evaluate(_BLANKS) == [1, 1, 1], "a blank to fill in stands beside its name"
    left, right = page.evaluate(_COLUMNS)
    assert left["right"] <= right["left"]


@pytest.mark.parametrize(
    "looks",
    [
        (("phone", "light"), ("office", "dark")),
        pytest.param((("phone", "dark"), ("office", "light")), marks=ONLY_SLOW),
    ],
    ids=["fast", "slow"],
)
def test_every_screen_is_accessible(
    server: Running, chromium: Browser, looks: tuple[tuple[str, str], ...]
) -> None:
    """axe-core finds nothing against WCAG 2.2 A and AA on any screen, small or large, light or
    dark; colours follow the scheme alone, and the layout the size."""
    with b.screen(chromium, server.url, watched=False) as page:
        found = {name: b.violations(page, looks) for name in screens(page)}
    assert {name: bad for name, bad in found.items() if bad} == {}


def test_long_texts_do_not_burst_the_page(server: Running, chromium: Browser) -> None:
    """With the longest words that the fields take, no screen scrolls sideways (WCAG 1.4.10)."""
    wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    long = Whole("long", "W" * 40, "m" * 80, "complaint" * 400, FULL_KIT_TWO_FAULTS.digits)
    found = {}
    with b.screen(chromium, server.url) as page:
        begin(page, long)
        case = case_of(page)
        parts = ("", "?find=relay", "/machine", "/hand-over", "/close", "/sheet")
        for address in (*(case + one for one in parts), "/desk", "/desk/call",
                        "/desk/sums/fuse-opening"):  # fmt: skip
            page.goto(address)
            for size, box in b.SIZES.items():
                page.set_viewport_size(box)  # type: ignore[arg-type]
                found[address, size] = page.evaluate(wide)
    assert {name: over for name, over in found.items() if over > 0} == {}


def screens(page: Page) -> Iterator[str]:
    """Bring every screen up in turn and give its name."""
    for name in ("/desk/call", "/desk/sums", "/desk/sums/fuse-opening", "/desk/sign-in",
                 "/desk/nowhere", "/desk/resume?number=123"):  # fmt: skip
        page.goto(name)
        yield name
    hand = begin(page, FULL_KIT_TWO_FAULTS)
    case = case_of(page)
    hand.go_through(FULL_KIT_TWO_FAULTS.truth, most=3)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    yield "call"
    for part in ("?check=pull-winding-ohms", "?change=1", "?find=relay", "/machine", "/hand-over",
                 "/close", "/sheet"):  # fmt: skip
        page.goto(case + part)
        yield part
    page.goto(f"{case}?check=pull-current")
    page.keyboard.type("zebra crossing")
    page.focus("#value")
    page.keyboard.type("x")
    b.press(page, "Enter")
    page.wait_for_selector("#faults")
    yield "refused"
    page.goto("/desk")
    yield "/desk"


# Of the fields of a form that can have the focus, those that its sticky foot covers then.
_COVERED = """() => {
  const send = document.querySelector(".send");
  return [...document.querySelectorAll("form.machine :is(input, textarea)")].filter((one) => {
    if (!one.checkVisibility() || send.contains(one)) return false;
    scrollTo(0, 0);  // the field comes up from below, where the foot stands
    one.focus();
    return one.getBoundingClientRect().bottom > send.getBoundingClientRect().top;
  }).map((one) => one.id);
}"""


def test_words_are_confirmed_with_a_key(server: Running, chromium: Browser) -> None:
    """What is typed is proposed below it; Tab and its digit tick it, and it is taken when sent.

    A danger in the words stands before the first step, too; both screens are accessible, and the
    foot of the form covers nothing that has the focus on a phone.
    """
    looks = tuple((size, "light") for size in b.SIZES)
    with b.screen(chromium, server.url, "phone", watched=False) as page:
        page.goto("/desk/call")
        page.check("#duty-1", force=True)
        assert page.evaluate(_COVERED) == []
        page.fill("#fleet_number", f"words-{next(_MACHINES)}")
        page.focus("#complaint")
        page.keyboard.insert_text("Clicks but nothing, and it smells burnt.")
        page.wait_for_selector("#heard .heard-stop")
        b.press(page, "Tab")
        b.press(page, "2")
        assert page.eval_on_selector_all("#heard :checked", "all => all.map(one => one.value)") == [
            "plunger-action=no-movement"
        ]
        assert b.violations(page, looks) == []
        page.check("#read_out", force=True)
        b.press(page, "Enter")
        page.wait_for_selector("html[data-ready] [data-focus]", state="attached")
        assert page.url.endswith("/heard")
        assert b.violations(page, looks) == []
        b.press(page, "0")
        page.wait_for_selector("[data-case] #step")
        assert "plunger-action" in str(kept(server, case_of(page))["findings"])
