"""Cautions first: none hidden, none behind a click, none missing on the sheet; no bad advice."""

import re
from pathlib import Path

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from api.cases import Book
from api.desk.calls import Call
from api.desk.told import of_machine, stops
from api.service import current
from engine import Knowledge
from engine.knowledge.rule_language import FindingTest
from tests.desk.support import BRAKE, FUEL, Browser, in_sight, text_of
from tests.safety.forbidden import bad, sentences

ROOT = Path(__file__).parents[2]
TIMED = {**FUEL, "control-fuel-shutoff": "1", "coil": "1", "hands": "7"}
MACHINES = [FUEL, TIMED, BRAKE, {"duty": "2"}]


def call_of(app: Flask, browser: Browser, case: str, audience: str) -> Call:
    """Return the case as the desk works on it."""
    number = case.rsplit("/", 1)[1]
    with app.app_context():
        return Call.of(Book.of(current()).diagnosed(number), None, audience)


def plain(text: str) -> str:
    """Return a text with its blanks made one, as ``text_of`` gives a page."""
    return " ".join(text.split())


def first(text: str) -> str:
    """Return the first sentence."""
    return text.split(". ", maxsplit=1)[0].rstrip(".") + "."


@pytest.mark.parametrize("machine", MACHINES, ids=["crank", "timed", "brake", "unknown"])
def test_every_step_has_its_cautions_before_its_sentence(
    desk: Browser, app: Flask, machine: dict[str, str]
) -> None:
    """For each check of a machine every caution stands in full, and before what is to be done."""
    case = desk.start(machine)
    call = call_of(app, desk, case, "technician")
    checks = call.desk.checks(call.inquiry)
    assert len(checks) > 30
    for name in checks:
        page = text_of(desk.get(f"{case}?as=technician&check={name}"))
        row = call.desk.step(call.inquiry, name)
        place = page.index(plain(row["say"]))
        for caution in row["cautions"]:
            assert -1 < page.find(plain(caution)) < place, (name, caution)


@pytest.mark.parametrize("machine", [FUEL, BRAKE], ids=["fuel", "brake"])
def test_a_caution_told_before_is_shortened_and_never_left_out(
    desk: Browser, app: Flask, machine: dict[str, str]
) -> None:
    """In a call each caution begins in sight of the sentence to read out, and stands in full."""
    case = desk.start(machine)
    desk.answer(case, "plunger-action", outcome="no-movement")
    desk.answer(case, "pull-pin-voltage", value="11.4", unit="V")
    call = call_of(app, desk, case, "caller")
    shortened = 0
    for name in ("pull-current", "plunger-action", "relay-click", "bench-pull", "hand-push-hold"):
        page, seen = text_of(desk.get(f"{case}?check={name}")), in_sight(desk.page)
        for caution in call.desk.step(call.inquiry, name)["cautions"]:
            assert plain(first(caution)) in seen, (name, caution)
            assert plain(caution) in page, (name, caution)
            shortened += plain(caution) not in seen
    assert shortened


@pytest.mark.parametrize(
    ("machine", "step", "danger"),
    [
        (FUEL, "exhaust-smoke-at-crank", "The engine turns and may start. Neutral, clear of"),
        (BRAKE, "brake-display", "The lock can lift. Any command or pushed plunger lifts it."),
    ],
    ids=["cranking", "releasing"],
)
def test_nobody_was_warned_by_an_answer_of_someone_else(
    desk: Browser, app: Flask, machine: dict[str, str], step: str, danger: str
) -> None:
    """Neither the complaint nor a colleague's answer, nor 'I don't know', stands for a warning."""
    case = desk.start(machine)
    assert danger in in_sight(desk.get(f"{case}?check={step}"))
    desk.follow(desk.answer(case, step, outcome="not-known"))
    assert danger in in_sight(desk.get(f"{case}?check={step}"))
    desk.follow(desk.answer(case, step, outcome=_first_outcome(app, step)))
    assert danger not in in_sight(desk.get(f"{case}?check={step}"))
    assert first(danger) in in_sight(desk.page)
    colleague = Browser(app)
    assert danger in in_sight(colleague.join(case, step))


def _first_outcome(app: Flask, check: str) -> str:
    outcomes = app.extensions["threewire"].knowledge.checks[check].outcomes
    assert outcomes is not None
    return str(outcomes.names[0])


def test_who_sits_down_is_told_anew(desk: Browser, knowledge: Knowledge) -> None:
    """With another name, or signed out, what this browser was told of a case counts no more."""
    case = desk.start(fleet_number="seat")
    warning = of_machine(knowledge, {"duty": "fuel-shutoff"})["unexpected-start-up"]
    step = f"{case}?check=hours-since-used"
    assert "first-told" not in desk.get(step).text
    for send in (lambda: desk.send("/desk/name", name="Kim"), lambda: desk.client.post(
        "/desk/sign-out", data={"csrf": desk.hidden("/desk/name")["csrf"]}
    )):  # fmt: skip
        desk.get("/desk")
        assert send().status_code == 303
        assert plain(warning) in text_of(desk.get(step))
        assert 'class="answer"' not in desk.page.text
        desk.follow(desk.send(f"{case}/told"))
        assert "first-told" not in desk.get(step).text


def test_only_warnings_on_the_form_count_as_read_out(desk: Browser, app: Flask) -> None:
    """A call starts with the tick that they were read out, and they are those of its duty."""
    desk.get("/desk/call")
    page = desk.send("/desk/call", **{**FUEL, "read_out": ""})
    assert page.status_code == 422
    assert "Read the warnings out" in text_of(page)
    case = desk.start({"duty": "1"})
    desk.get(f"{case}/machine")
    desk.follow(desk.send(f"{case}/machine", **BRAKE))
    knowledge = app.extensions["threewire"].knowledge
    assert of_machine(knowledge, {"duty": "brake-release"})["lower-block-chock-first"] in (
        text_of(desk.get(f"{case}?check=hours-since-used"))
    )
    assert 'class="answer"' not in desk.page.text


def test_a_repair_has_its_cautions_before_it(desk: Browser, app: Flask) -> None:
    """Each caution of the repair begins before what is to be done, and is on the page in full."""
    case = desk.start()
    desk.answer(case, "pull-winding-ohms", outcome="open", measured_to="body")
    desk.answer(case, "ground-path-ohms", value="0.1", unit="ohm", lead_ohms="0")
    desk.answer(case, "pull-to-hold-ohms", outcome="open")
    desk.answer(case, "bench-pull", outcome="no-movement")
    call = call_of(app, desk, case, "caller")
    entry = call.answer["causes"][0]
    page = text_of(desk.get(case))
    place = page.index(plain(entry["remedy"]))
    assert entry["cautions"]
    for caution in entry["cautions"]:
        assert -1 < page.find(plain(first(caution))) < place, caution
        assert plain(caution) in page, caution


def test_cautions_are_not_inside_what_opens_at_a_click(desk: Browser) -> None:
    """No caution of a step or of the case is inside a closed part of the page."""
    case = desk.start(BRAKE)
    page = desk.get(f"{case}?check=pull-current").text
    closed = re.findall(r"<details.*?</details>", page, re.DOTALL)
    assert closed
    assert not any('class="caution' in one or "cautions-all" in one for one in closed)


def test_a_brake_that_does_not_hold_stops_the_work(desk: Browser) -> None:
    """'The brake is applied and the machine still moves' raises its caution before all else."""
    desk.start({"duty": "2", "symptom-brake-release": "will-not-hold"})
    page = text_of(desk.page)
    assert "tag it out" in page
    assert "Put right first" not in page
    assert "put right first" not in page
    assert page.index("tag it out") < page.index("Hand over to a technician")


def test_what_a_caution_excepts_is_not_told_to_be_left(desk: Browser) -> None:
    """Of a secured machine that does not hold the lock may be looked at, and the page that asks for
    it does not say beside that not to do it; what is not excepted it says so of."""
    case = desk.start({"duty": "2", "symptom-brake-release": "will-not-hold", "hands": "5"})
    desk.follow(desk.send(f"{case}/told"))
    desk.follow(desk.send(f"{case}/answers", outcome="secured"))
    assert 'name="check" value="lock-look"' in desk.page.text
    assert "ruled out" not in text_of(desk.page)
    assert "ruled out" in text_of(desk.get(f"{case}?check=plunger-action"))


def test_who_cannot_go_on_safely_is_handed_over_at_once(desk: Browser) -> None:
    """By phone nothing more is asked before the hand-over where a step is not safe, or where
    something outside the circuit leads at half; the questions stand beside it."""
    by_phone = {"hands": "1", "skill": "1"}
    case = desk.start({"duty": "2", "symptom-brake-release": "will-not-hold", **by_phone})
    desk.follow(desk.send(f"{case}/told"))
    _assert_handed_over(desk.follow(desk.send(f"{case}/answers", outcome="secured")))
    case = desk.start({**FUEL, "symptom-fuel-shutoff": "no-crank", **by_phone})
    _assert_handed_over(desk.follow(desk.answer(case, "display-message", outcome="nothing-shown")))


def test_what_another_trade_puts_right_is_handed_over_at_the_desk_too(desk: Browser) -> None:
    """However sure it is: an engine stopped for its oil is no repair of this call. That
    it must not be started again stands there too."""
    case = desk.start({**FUEL, "symptom-fuel-shutoff": "dies-while-running", "hands": "7"})
    desk.answer(case, "display-message", outcome="oil-or-temperature")
    desk.follow(desk.answer(case, "hold-pin-voltage-running", value="0", unit="V"))
    page = text_of(desk.page)
    assert "Put it right" not in page
    assert "Engine protection takes the hold away (95 %)" in page
    assert "is for others to put right" in page
    assert "Do not restart it" in page


def _assert_handed_over(page: TestResponse) -> None:
    assert 'class="answer"' not in page.text
    assert text_of(page).index("Hand over to a") < text_of(page).index("Go on checking")


def test_the_sheet_carries_every_caution(desk: Browser, app: Flask) -> None:
    """Cautions of the case, the repair and each check on the sheet stand on it, at the top."""
    case = desk.start(BRAKE)
    desk.answer(case, "relay-click", outcome="heard")
    call = call_of(app, desk, case, "caller")
    page = text_of(desk.get(f"{case}/sheet"))
    end = page.index("Likeliest cause")
    wanted = [one["text"] for one in call.answer["cautions"]]
    wanted += call.answer["causes"][0]["cautions"]
    checks = call.desk.diagnose(call.inquiry.request())["next_checks"][:3]
    wanted += [text for one in checks for text in one["cautions"]]
    assert wanted
    for caution in wanted:
        assert -1 < page.find(plain(caution)) < end, caution
    assert "the machine maker\u2019s manual" in page


def test_closing_asks_for_the_proof(desk: Browser, app: Flask) -> None:
    """Before a case is closed the page says what proves the repair, and what a brake needs."""
    case = desk.start(BRAKE)
    call = call_of(app, desk, case, "caller")
    page = text_of(desk.get(f"{case}/close?cause=pull-winding-open"))
    proof = call.desk.knowledge.causes["pull-winding-open"].proof_of_repair
    assert plain(proof) in page
    assert "holding test" in page


def test_every_page_defers_to_the_makers_manual(desk: Browser) -> None:
    """The foot of each page says that the maker's manual and local codes win."""
    case = desk.start()
    for address in ("/desk", "/desk/call", case, f"{case}/close", "/desk/sums/feed-drop"):
        assert "maker\u2019s service manual" in text_of(desk.get(address))


def test_no_template_gives_forbidden_advice() -> None:
    """The desk's own words pass the sentence check that the knowledge base passes."""
    for path in sorted((ROOT / "api/desk/templates/desk").glob("*.html")):
        words = re.sub(r"{[{%].*?[%}]}|<[^>]+>", " ", path.read_text("utf-8"))
        for sentence in sentences(plain(words)):
            assert bad(sentence) == [], (path.name, sentence)


def test_what_holds_for_the_whole_case_is_told_once_to_each(
    desk: Browser, app: Flask, knowledge: Knowledge
) -> None:
    """Who starts a call reads the machine's warnings on the form; who joins has them alone on the
    screen, every word, before the step that was asked for."""
    case = desk.start(fleet_number="once")
    warnings = of_machine(knowledge, {"duty": "fuel-shutoff"}).values()
    step = f"{case}?check=hours-since-used"
    form = text_of(desk.get("/desk/call"))
    assert all(form.index(one) < form.index("Read out and start") for one in warnings)
    assert 'class="caution' not in desk.get(step).text
    phone = Browser(app)
    page = phone.get(step)
    assert all(one in text_of(page) for one in warnings)
    assert 'class="say' not in page.text
    phone.follow(phone.send(f"{case}/told"))
    assert 'value="hours-since-used"' in phone.page.text
    assert 'class="caution' not in phone.page.text


def test_stop_cards_are_cautions_of_the_knowledge(desk: Browser, knowledge: Knowledge) -> None:
    """Each STOP card is a caution that a finding raises; no step is shown while it stands."""
    for name in stops():
        rule = knowledge.rules[name]
        assert rule.family == "cautions"
        found = [test for test in knowledge.programs[name].conditions
                 if isinstance(test, FindingTest)]  # fmt: skip
        assert found, name
    case = desk.start()
    desk.follow(desk.answer(case, "coil-temperature", outcome="smoking"))
    page = desk.page.text
    assert "The solenoid smokes" in page
    assert 'class="answer"' not in page
    desk.follow(desk.send(f"{case}/told"))
    assert 'class="answer"' in desk.page.text
    assert "now-stop" in desk.page.text
