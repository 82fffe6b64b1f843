"""A call from its first form to its end, as forms sent to the application."""

import html
import io
import json
import re
from datetime import UTC, datetime, timedelta

import pytest
from flask import Flask
from PIL import Image

from api.desk.forms import asked
from api.desk.pages import age
from api.interview.views import movement
from engine import Diagnoser
from engine.knowledge.items import MOMENTS
from engine.physics.machine import Machine
from engine.rules.cautions import check_hazards
from tests.desk.support import BRAKE, FUEL, Browser, text_of


def findings(desk: Browser, case: str) -> list[dict[str, object]]:
    """Return the findings as the programs' door tells them."""
    answer = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}")
    found: list[dict[str, object]] = answer.get_json()["findings"]
    return found


def test_a_call_is_a_case_from_the_first_answer_on(desk: Browser) -> None:
    """Starting a call keeps the machine and the complaint, in the words of the contract."""
    case = desk.start(complaint="Turns over, nothing more.")
    kept = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}").get_json()
    assert kept["machine"] == {
        "duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground",
        "system_volts": 12,
    }  # fmt: skip
    assert kept["fleet_number"] == "7"
    assert kept["complaint"] == "Turns over, nothing more."
    assert [one["check"] for one in kept["findings"]] == ["engine-response"]


def test_dont_know_is_an_answer(desk: Browser) -> None:
    """Only the duty must be known; the engine weighs every control and coil that it may be."""
    case = desk.start({"duty": "2"})
    kept = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}").get_json()
    assert kept["machine"] == {"duty": "brake-release", "control": "unknown", "coil": "unknown"}
    assert kept["findings"] == []


def test_a_note_says_that_the_check_it_wants_is_answered(desk: Browser) -> None:
    """A note that sends somebody to the battery posts says so where these were read before."""
    wanted, answered = "Read at the battery posts", "Answered already: Battery voltage at the posts"
    case = desk.start()
    page = text_of(desk.follow(desk.answer(case, "crank-speed", outcome="slow")))
    assert wanted in page
    assert answered not in page
    case = desk.start(fleet_number="8")
    desk.follow(desk.answer(case, "battery-voltage-crank", value="10.4", unit="V"))
    page = text_of(desk.follow(desk.answer(case, "crank-speed", outcome="slow")))
    assert f"any test of the solenoid. {answered}" in page


def test_without_the_duty_the_form_comes_back_filled_in(desk: Browser) -> None:
    """A form that cannot be taken names the field and keeps every value."""
    desk.get("/desk/call")
    page = desk.send("/desk/call", fleet_number="31", complaint="Brummt nur", coil="2")
    assert page.status_code == 422
    assert "Choose what the trouble is with" in text_of(page)
    assert 'value="31"' in page.text
    assert "Brummt nur" in page.text
    assert 'id="coil-2" checked' in page.text


def test_what_is_asked_first_is_seen_first(desk: Browser) -> None:
    """Lead with its probability, why this step, caution, sentence: they stand in this order."""
    page = desk.get(f"{desk.start()}?check=relay-click").text
    places = [
        page.index(mark) for mark in ("now-lead", "now-next", 'class="caution"', 'class="say')
    ]
    assert places == sorted(places)
    assert " in 100" in page[places[0] : places[2]]


def test_a_reading_is_taken_as_people_type_it(desk: Browser) -> None:
    """A decimal comma and a unit behind the number are read; the unit there wins."""
    case = desk.start()
    assert desk.answer(case, "pull-pin-voltage", value="11,4", unit="V").status_code == 303
    assert desk.answer(case, "pull-current", value="3.1 A", unit="mA").status_code == 303
    kept = findings(desk, case)
    assert (kept[1]["value"], kept[1]["unit"]) == (11.4, "V")
    assert (kept[2]["value"], kept[2]["unit"]) == (3.1, "A")


def test_nonsense_is_refused_at_its_field(desk: Browser) -> None:
    """The page says what is wrong beside the field and shows what was typed once more."""
    case = desk.start()
    for typed, says in {
        "eleven": "is not a reading",
        "": "Type what the meter shows",
        "11400": "outside what this check can read",
        "11.4 ohm": "this check reads V",
        "1,140": "can be 1140 or 1.140",
        "OL": "Over range is for ohms. Type what the meter shows in V",
    }.items():
        page = desk.answer(case, "pull-pin-voltage", value=typed, unit="V", note="at the plug")
        assert page.status_code == 422, typed
        assert says in text_of(page)
        assert 'aria-invalid="true"' in page.text
        assert f'value="{typed}"' in page.text
        assert "at the plug</textarea>" in page.text
    assert len(findings(desk, case)) == 1


def test_how_it_was_taken_goes_with_it(desk: Browser) -> None:
    """Leads, temperature, the other lead's place, remarks and note are kept with the ohms."""
    case = desk.start()
    desk.answer(
        case, "pull-winding-ohms", value="0.6", unit="ohm", lead_ohms="0.2", celsius="60",
        measured_to="body", circumstances=["hot", "shaken"], note="still warm",
    )  # fmt: skip
    assert {k: v for k, v in findings(desk, case)[1].items() if k not in ("place", "by", "at")} == {
        "check": "pull-winding-ohms", "value": 0.6, "unit": "ohm", "lead_ohms": 0.2,
        "celsius": 60.0, "measured_to": "body", "circumstances": ["hot", "shaken"],
        "note": "still warm", "withdrawn": None,
    }  # fmt: skip


def comes_and_goes(desk: Browser, **more: str) -> str:
    """Start a call on a machine that fails at random, its relay read good, and return its case."""
    case = desk.start({**FUEL, "control-fuel-shutoff": "1", "coil": "1"}, **more)
    desk.answer(case, "plunger-action", outcome="no-movement")
    desk.answer(case, "failure-pattern", outcome="random")
    desk.follow(desk.answer(case, "relay-87-voltage", value="12", unit="V", **{"while": ""}))
    return case


@pytest.mark.parametrize(
    ("hands", "check", "given"),
    [("7", "pull-pin-voltage", {"value": "11.8"}),
     ("4", "lamp-at-pull-pin", {"outcome": "bright"})],
)  # fmt: skip
def test_what_the_step_asked_to_be_done_meanwhile_is_kept(
    desk: Browser, hands: str, check: str, given: dict[str, str]
) -> None:
    """By itself, and with it when the answer is changed, struck out and restored."""
    case = comes_and_goes(desk, hands=hands)
    assert "while" not in findings(desk, case)[-1]
    page = desk.get(f"{case}?check={check}")
    assert "Do it while the harness is moved, clear of moving parts." in text_of(page)
    desk.follow(desk.send(f"{case}/answers", **given))
    assert findings(desk, case)[-1]["while"] == "shaken"
    assert "while shaken" in text_of(desk.page)
    told = desk.client.get(f"{case}/version?since={desk.version - 1}").get_json()["words"]
    assert told[0].endswith(", while shaken).")
    assert "while shaken" in text_of(desk.client.get(f"{case}/sheet"))
    place = len(findings(desk, case))
    desk.get(f"{case}?change={place}")
    desk.follow(desk.send(f"{case}/answers", **given, note="twice"))
    assert [one.get("while") for one in findings(desk, case)[-2:]] == ["shaken", "shaken"]
    fields = desk.hidden(f"{case}/strike") | {"place": str(place + 1)}
    desk.follow(desk.client.post(f"{case}/strike", data=fields))
    desk.follow(desk.client.post(f"{case}/restore", data={**fields, "version": desk.version}))
    last = findings(desk, case)[-1]
    assert (last["while"], last["withdrawn"], last["note"]) == ("shaken", None, "twice")


def test_what_was_done_meanwhile_can_be_said(desk: Browser) -> None:
    """Of a reading that nobody asked for, and otherwise than the step asked it."""
    case = comes_and_goes(desk)
    desk.answer(case, "fuse-drop-voltage", value="20", unit="mV")
    assert "while" not in findings(desk, case)[-1]
    desk.follow(
        desk.answer(case, "hold-winding-ohms", value="21", unit="ohm", **{"while": "heated"})
    )
    assert findings(desk, case)[-1]["while"] == "heated"
    assert "21 ohm (while hot" in text_of(desk.page)
    desk.answer(case, "ground-path-ohms", value="0.3", unit="ohm", **{"while": ""})
    assert "while" not in findings(desk, case)[-1]
    place = len(findings(desk, case))
    assert '<option value="shaken" selected>' not in desk.get(f"{case}?change={place}").text
    desk.answer(case, "ground-side-voltage", outcome="not-known")
    assert "while" not in findings(desk, case)[-1]
    refused = desk.answer(case, "fuse-output-voltage", value="12", unit="V", **{"while": "sung to"})
    assert refused.status_code == 422
    assert 'id="fault-while"' in refused.text
    assert 'name="while"' not in desk.get(f"{case}?check=failure-pattern").text


def test_a_photo_goes_with_an_answer(desk: Browser) -> None:
    """A photo is kept with its finding, once, and shown; what is none is refused at its field."""
    case, out = desk.start(), io.BytesIO()
    Image.new("RGB", (60, 40), "teal").save(out, "JPEG")
    desk.get(f"{case}?check=connector-look")
    fields = desk.hidden(f"{case}/answers") | {"outcome": "corroded"}
    for _ in range(2):  # the same form twice
        sent = {**fields, "photo": (io.BytesIO(out.getvalue()), "p.jpg")}
        desk.follow(desk.client.post(f"{case}/answers", data=sent))
    (found,) = findings(desk, case)[1:]
    (address,) = found["photos"]
    shown = re.search(r'<img class="photo" src="([^"]+)"', desk.page.text)
    assert shown is not None
    assert desk.client.get(shown[1]).data == desk.client.get(address).data != b""
    desk.get(f"{case}?check=connector-look")
    fields = desk.hidden(f"{case}/answers") | {"outcome": "corroded"}
    page = desk.client.post(
        f"{case}/answers", data={**fields, "photo": (io.BytesIO(b"MZ"), "p.jpg")}
    )
    assert page.status_code == 422
    assert 'id="fault-photo"' in page.text


def test_over_range_and_dont_know(desk: Browser) -> None:
    """A meter over range is 'open'; what nobody knows is kept as not known and asked no more."""
    case = desk.start()
    desk.answer(case, "pull-winding-ohms", outcome="open")
    desk.follow(desk.answer(case, "relay-click", outcome="not-known"))
    assert [one.get("outcome") for one in findings(desk, case)[1:]] == ["open", "not-known"]
    assert 'name="check" value="relay-click"' not in desk.page.text


def test_beliefs_move_and_the_page_says_how(desk: Browser) -> None:
    """After an answer each cause shows where it was before."""
    case = desk.start()
    desk.follow(desk.answer(case, "pull-current", value="3.1", unit="A"))
    page = text_of(desk.page)
    assert " up from " in page
    assert movement(0.712, 0.4) == "up from 40"
    assert movement(0.123, 0.1234) == "as before"
    assert movement(0.1, None) == ""


def test_evidence_has_a_picture_and_its_words(desk: Browser) -> None:
    """A reading's bands are drawn, and the same is said beside the picture."""
    case = desk.start()
    desk.follow(desk.answer(case, "pull-current", value="3.1", unit="A"))
    picture = desk.page.text.split('class="bands"', 1)[1].split("</svg>", 1)[0]
    assert 'role="img"' in picture
    assert "Observed 3.1 A" in picture
    assert "a healthy circuit" in text_of(desk.page)


def test_an_answer_is_struck_out_and_stays(desk: Browser) -> None:
    """A struck-out answer counts no more, and the page still shows what it was."""
    case = desk.start()
    desk.follow(desk.answer(case, "relay-click", outcome="heard"))
    before = desk.page.text.split('class="beliefs"', 1)[1][:3000]
    fields = desk.hidden(f"{case}/strike")
    desk.follow(desk.client.post(f"{case}/strike", data={**fields, "place": "2"}))
    assert "<s>The relay clicks</s>" in desk.page.text
    assert "Struck out by local" in text_of(desk.page)
    assert desk.page.text.split('class="beliefs"', 1)[1][:3000] != before
    assert findings(desk, case)[1]["withdrawn"] is not None


def test_an_answer_is_changed_and_the_old_one_stays(desk: Browser) -> None:
    """Changing strikes the old answer out, says where the new one is, and adds that.

    So too after something was put right, and in one step.
    """
    case = desk.start()
    desk.answer(case, "pull-pin-voltage", value="1.14", unit="V")
    number, done = case.rsplit("/", 1)[1], {"done": [{"cause": "battery-weak"}]}
    noted = desk.client.patch(f"/v1/cases/{number}", json=done, headers={"If-Match": '"2"'})
    assert noted.status_code == 200, noted.text
    page = desk.get(f"{case}?change=2")
    assert 'value="1.14"' in page.text
    assert "Answer 2 says: 1.14 V" in text_of(page)
    desk.follow(desk.send(f"{case}/answers", value="11.4", unit="V"))
    kept = findings(desk, case)
    assert [one.get("value") for one in kept] == [None, 1.14, 11.4]
    assert kept[1]["withdrawn"]["because"] == "changed, see answer 3"  # type: ignore[index]
    assert kept[2]["withdrawn"] is None
    assert desk.version == 4


def test_a_bad_change_leaves_the_old_answer(desk: Browser) -> None:
    """What the engine does not take strikes nothing out."""
    case = desk.start()
    desk.answer(case, "pull-pin-voltage", value="11.4", unit="V")
    desk.get(f"{case}?change=2")
    assert desk.send(f"{case}/answers", value="4000", unit="V").status_code == 422
    assert findings(desk, case)[1]["withdrawn"] is None


def test_any_check_can_be_found_and_answered(desk: Browser) -> None:
    """A search by words lists the machine's own checks; each leads to its question."""
    case = desk.start()
    page = desk.get(f"{case}?find=ground+voltage")
    assert f"{case}?check=ground-side-voltage" in page.text
    assert "brake" not in page.text.split('id="find"')[1].split("</details>")[0].lower()
    assert "No check of this machine" in text_of(desk.get(f"{case}?find=zebra"))


def test_each_side_has_its_own_answers(desk: Browser) -> None:
    """With two solenoids an answer belongs to the side that is looked at."""
    case = desk.start(BRAKE)
    desk.follow(desk.answer(case, "relay-click", outcome="heard"))
    desk.get(f"{case}?side=left&check=relay-click")
    desk.follow(desk.send(f"{case}/answers", outcome="not-heard"))
    assert [one.get("side") for one in findings(desk, case)] == ["right", "right", "left"]
    assert "side=left" in desk.client.get(case).text or "left" in desk.page.text
    left, right = desk.get(f"{case}?side=left"), desk.client.get(f"{case}?side=right")
    assert (
        left.text.split('class="beliefs"')[1][:800] != right.text.split('class="beliefs"')[1][:800]
    )


def test_a_side_is_kept_whatever_is_done(desk: Browser) -> None:
    """The other side stays the one looked at when its control type or its repair is noted."""
    case = desk.start({**BRAKE, "control-brake-release": "0"})
    desk.follow(desk.answer(case, "plunger-timing", outcome="at-release-request"))
    desk.get(f"{case}?side=left&check=plunger-timing")
    desk.follow(desk.send(f"{case}/answers", outcome="at-release-request"))
    desk.follow(desk.answer(case, "relay-click", outcome="heard"))
    desk.get(f"{case}?side=left")
    assert 'href="' + f'{case}/sheet?side=left"' in desk.page.text
    desk.follow(desk.send(f"{case}/control"))
    assert "Side: left" in text_of(desk.page)


def test_the_machine_can_be_told_later(desk: Browser) -> None:
    """What was not known at first is changed on the machine's page, and taken back there."""
    case = desk.start({"duty": "1"})
    desk.get(f"{case}/machine")
    desk.follow(desk.send(f"{case}/machine", duty="1", control__fuel__shutoff="0"))
    desk.get(f"{case}/machine")
    fields = {**FUEL, "hands": "1", "fuse_amps": "30"}
    desk.follow(desk.send(f"{case}/machine", **fields))
    kept = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}").get_json()
    assert kept["machine"]["control"] == "controller-on-crank"
    assert kept["machine"]["fuse_amps"] == 30
    assert kept["on_hand"] == ["ask"]
    desk.get(f"{case}/machine")
    desk.follow(desk.send(f"{case}/machine", duty="1", coil="0", hands="0", fuse_amps=""))
    kept = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}").get_json()
    assert kept["machine"] == {"duty": "fuel-shutoff", "control": "unknown", "coil": "unknown"}
    assert kept["on_hand"] is None


def test_the_answers_may_tell_the_control_type(desk: Browser) -> None:
    """When the solenoid moves at crank, the page offers to take the control that does so."""
    case = desk.start({"duty": "1"})
    desk.follow(desk.answer(case, "plunger-timing", outcome="at-crank"))
    desk.follow(desk.send(f"{case}/control"))
    kept = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}").get_json()
    assert kept["machine"]["control"] == "controller-on-crank"


def test_put_right_without_a_cure_goes_on(desk: Browser) -> None:
    """A cause that was put right leaves the list, and what it can have changed counts no more.

    So the complaint is asked anew; the note is shown, and can be taken back.
    """
    case = desk.start()
    desk.answer(case, "pull-winding-ohms", outcome="open", measured_to="body")
    desk.answer(case, "ground-path-ohms", value="0.1", unit="ohm", lead_ohms="0")
    desk.answer(case, "pull-to-hold-ohms", outcome="open")
    desk.follow(desk.answer(case, "bench-pull", outcome="no-movement"))
    assert "Pull winding open very likely" in text_of(desk.page)
    assert "Put it right" in text_of(desk.page)
    desk.follow(desk.send(f"{case}/put-right"))
    page = text_of(desk.page)
    assert "Put right after answer 5, complaint unchanged: Pull winding open" in page
    assert "Put it right" not in page
    now = desk.page.text.split('class="now"')[1].split("</section>")[0]
    assert "Pull winding open" not in now
    kept = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}").get_json()
    assert kept["done"] == [{"cause": "pull-winding-open", "after": 4}]
    assert kept["excluded"] == []
    assert 'name="check" value="engine-response"' in desk.page.text
    assert "Asked anew after the repair" in page
    answer = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}/diagnosis").get_json()
    assert 1 in [one["finding"] for one in answer["superseded"]]
    desk.follow(desk.send(f"{case}/answers", outcome="cranks-no-start"))
    assert 'name="check" value="engine-response"' not in desk.page.text
    desk.follow(desk.send(f"{case}/put-right"))
    assert "complaint unchanged" not in text_of(desk.page)


def test_close_and_reopen(desk: Browser) -> None:
    """A case is closed with its cause, parts, minutes and note, and opened again with a reason."""
    case = desk.start()
    desk.get(f"{case}/close?cause=pull-winding-open")
    page = desk.send(f"{case}/close", cause="pull-winding-open", minutes="an hour")
    assert page.status_code == 422
    assert "Type whole minutes" in text_of(page)
    desk.follow(
        desk.send(
            f"{case}/close", cause="pull-winding-open", minutes="40",
            replaced="Solenoid\nPlug", note="Timer was stuck too.",
        )
    )  # fmt: skip
    assert "This case is closed" in text_of(desk.page)
    kept = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}").get_json()["outcome"]
    assert (kept["cause"], kept["minutes"]) == ("pull-winding-open", 40)
    assert kept["replaced"] == ["Solenoid", "Plug"]
    assert "Was: Pull winding open." in text_of(desk.client.get("/desk?state=closed"))
    desk.follow(desk.send(f"{case}/reopen", because="It came back."))
    assert 'class="answer"' in desk.page.text


def test_a_cause_must_be_named_to_close(desk: Browser) -> None:
    """Closing asks for the cause; that it was never found is one of the answers."""
    case = desk.start()
    desk.get(f"{case}/close")
    assert desk.send(f"{case}/close", cause="").status_code == 422
    assert 'value="unknown"' in desk.page.text


def test_hand_over_has_number_link_and_code(desk: Browser) -> None:
    """The page for handing over shows the number, a link for the technician, and its QR code."""
    case = desk.start()
    page = desk.get(f"{case}/hand-over")
    assert f"{case}?as=technician" in page.text
    assert 'class="qr"' in page.text
    assert "works on this computer only" in text_of(page)
    desk.follow(desk.send(f"{case}/hand-over", handed_to="the yard's van"))
    assert "Noted: with the yard's van" in text_of(desk.page)


def test_the_technician_reads_how_to_do_it(desk: Browser, app: Flask) -> None:
    """The handed-over link tells each step for a technician, and that browser keeps to it."""
    case = desk.start()
    phone = Browser(app)
    phone.get(f"{case}?as=technician")
    page = phone.join(case, "pull-pin-voltage")
    how = app.extensions["threewire"].knowledge.checks["pull-pin-voltage"].how
    assert how.split(".")[0] in text_of(page)
    assert 'class="say do"' in page.text
    assert 'class="say do"' in phone.get(f"{case}?check=pull-pin-voltage").text
    assert 'class="say do"' not in desk.get(f"{case}?check=pull-pin-voltage").text


def test_a_number_is_resumed_as_it_is_read_out(desk: Browser) -> None:
    """Blanks and hyphens do not matter; a slip is told kindly, with what it may have been."""
    case = desk.start()
    digits = case.rsplit("/", 1)[1]
    assert desk.get(f"/desk/resume?number={digits[:4]}-{digits[4:]}").headers["Location"] == case
    wrong = digits[:3] + str((int(digits[3]) + 1) % 10) + digits[4:]
    page = desk.get(f"/desk/resume?number={wrong}")
    assert page.status_code == 404
    assert "has a slip in it" in text_of(page)
    assert f'href="{case}"' in page.text


def test_open_cases_are_listed_and_searched(desk: Browser) -> None:
    """The calls page lists open cases, finds them by words, and keeps closed ones apart."""
    first, second = desk.start(), desk.start(BRAKE)
    page = desk.get("/desk").text
    assert f'href="{first}"' in page
    assert f'href="{second}"' in page
    page = desk.get("/desk?q=dumper").text
    assert f'href="{second}"' in page
    assert f'href="{first}"' not in page
    assert f'href="{second}"' not in desk.get("/desk?state=closed").text


def test_a_known_machine_need_not_be_typed_again(desk: Browser) -> None:
    """A machine of an earlier case is offered, and what was known of it is filled in."""
    case = desk.start(BRAKE)
    page = desk.get("/desk/call")
    like = f"/desk/call?like={case.rsplit('/', 1)[1]}"
    assert f'href="{like}"' in page.text
    page = desk.get(like)
    assert 'value="42"' in page.text
    assert 'id="solenoids-2" checked' in page.text
    assert 'id="duty-2" checked' in page.text


def test_what_each_answer_would_mean(desk: Browser) -> None:
    """For each answer the page tells which cause would lead; nothing is noted by asking."""
    case = desk.start()
    page = desk.get(f"{case}/meaning?check=relay-click")
    assert "would lead" in text_of(page)
    assert len(findings(desk, case)) == 1


def test_the_version_tells_what_others_did(desk: Browser, app: Flask) -> None:
    """A page that polls is told in words what was done since the version that it shows."""
    case = desk.start()
    other = Browser(app)
    other.client.post("/desk/name", data={**other.hidden("/desk/name"), "name": "Kim"})
    other.answer(case, "relay-click", outcome="heard")
    told = json.loads(desk.client.get(f"{case}/version?since=1").text)
    assert told["version"] == 2
    assert told["words"][0].startswith("Kim added")


def test_no_question_on_a_page_tells_to_type_a_command() -> None:
    """What the desk shows of a question says nothing of the interview's prompt."""
    for one in asked():
        assert "Type '" not in f"{one.why} {one.unsure}", one.id


def test_a_machine_with_an_open_case_is_asked_about(desk: Browser) -> None:
    """A second call about a fleet number offers the open case; the form sent again starts one."""
    case = desk.start()
    desk.get("/desk/call")
    page = desk.send("/desk/call", **FUEL)
    assert page.status_code == 409
    assert f'href="{case}"' in page.text
    assert "has an open case already" in text_of(page)
    desk.follow(desk.send("/desk/call", **FUEL))
    assert case not in desk.page.text
    assert f'href="{case}"' in desk.get(f"{case[:-8]}{_number(desk)}/machine").text


def _number(desk: Browser) -> str:
    """Return the number of the latest case."""
    found: str = desk.client.get("/v1/cases").get_json()["cases"][0]["number"]
    return found.replace(" ", "")


def test_a_struck_out_answer_is_restored(desk: Browser) -> None:
    """One key strikes the last answer out; it counts again as it was, once, its change no more."""
    case = desk.start()
    desk.follow(desk.answer(case, "relay-click", outcome="heard", note="twice"))
    assert 'data-key="u"' in desk.page.text
    desk.follow(desk.client.post(f"{case}/strike", data={**desk.hidden(f"{case}/strike"),
                                                         "place": "2"}))  # fmt: skip
    desk.follow(desk.send(f"{case}/restore"))
    kept = findings(desk, case)
    assert [one["withdrawn"] is None for one in kept] == [True, True]
    assert (kept[1]["outcome"], kept[1]["note"]) == ("heard", "twice")
    desk.get(f"{case}?change=2")
    desk.follow(desk.send(f"{case}/answers", outcome="not-heard"))
    fields = desk.hidden(f"{case}/restore")
    desk.follow(desk.client.post(f"{case}/restore", data=fields))
    desk.client.post(f"{case}/restore", data=fields)
    kept = findings(desk, case)
    assert [one["withdrawn"] is None for one in kept] == [True, True, False]
    fields = desk.hidden(f"{case}/strike") | {"place": "9"}
    assert desk.client.post(f"{case}/restore", data=fields).status_code == 404


def test_a_lay_caller_is_asked_as_one(desk: Browser, diagnoser: Diagnoser) -> None:
    """Who does the steps goes with the request; no dangerous step is proposed to the untrained."""
    case = desk.start(FUEL, skill="1", hands="7")
    kept = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}").get_json()
    assert kept["skill"] == "lay"
    answer = desk.client.get(f"/v1/cases/{case.rsplit('/', 1)[1]}/diagnosis").get_json()
    proposed = {one["check"] for one in answer["next_checks"]}
    assert proposed
    knowledge = diagnoser.knowledge
    trained = set(knowledge.rows("trained-hands"))
    machines = diagnoser.models.get(Machine(**kept["machine"])).variants
    dangerous = {
        name for name, one in knowledge.checks.items()
        if not one.remembered and check_hazards(one, machines) & trained
    }  # fmt: skip
    assert dangerous >= {"bench-pull", "ground-jumper", "pull-current", "pull-pin-voltage"}
    assert not proposed & dangerous
    assert '<option value="1" selected>1 A caller' in desk.get(f"{case}/machine").text
    case = desk.start({**FUEL, "control-fuel-shutoff": "0"}, skill="1", fleet_number="lay")
    assert 'name="check" value="plunger-timing"' not in desk.page.text
    assert "for trained hands" in text_of(desk.get(f"{case}?check=plunger-timing"))


def test_whoever_did_not_say_what_is_at_hand_is_led_there(desk: Browser) -> None:
    """A step that takes tools leads a caller to the question which tools there are."""
    case = desk.start()
    page = desk.get(f"{case}?check=pull-current").text
    assert f'{case}/machine#hands">' in page
    assert 'id="hands"' in desk.get(f"{case}/machine").text
    assert "#hands" not in desk.get(f"{case}?check=recent-work").text
    desk.start({**FUEL, "hands": "7"}, fleet_number="kit")
    assert "#hands" not in desk.page.text


def test_a_reading_may_have_been_taken_at_any_moment(desk: Browser) -> None:
    """The page names every moment that a finding takes, in its own words."""
    page = desk.get(f"{desk.start()}?as=technician&check=pull-pin-voltage").text
    offered = page.split('<select id="moment"')[1].split("</select>")[0]
    assert re.findall(r'value="([^"]+)"', offered) == [*MOMENTS]


def test_only_moments_of_the_machine_are_offered(desk: Browser) -> None:
    """No fuel caller is asked whether the solenoid moves as brake release is asked for."""
    page = desk.get(f"{desk.start()}?check=plunger-timing").text
    assert 'value="at-crank"' in page
    assert 'value="at-release-request"' not in page
    assert (
        'value="at-release-request"' in desk.get(f"{desk.start(BRAKE)}?check=plunger-timing").text
    )


def test_a_head_line_names_a_leader_only_where_there_is_one(desk: Browser) -> None:
    """Under half the three likeliest are named with their chances; above, the one, in words."""
    case = desk.start()
    now = desk.page.text.split('class="now-lead">')[1].split("<")[0]
    assert re.fullmatch(r"Too early to say. Leading: .+ \d+, .+ \d+, .+ \d+ in 100\.", now)
    desk.answer(case, "ground-side-voltage", value="11", unit="V")
    desk.follow(desk.answer(case, "ground-path-ohms", outcome="open"))
    now = desk.page.text.split('class="now-lead">')[1].split("<")[0]
    assert now == "Solenoid ground open"
    assert "in 100" in desk.page.text.split('class="now-sure">')[1].split("<")[0]


def test_nobody_leads_so_somebody_else_goes_on(desk: Browser) -> None:
    """With nothing left to ask and no leader the first choice is to hand over, never a repair."""
    case = desk.start(FUEL, hands="1", skill="1")
    for _ in range(30):
        if (check := re.search(r'name="check" value="([^"]+)"', desk.page.text)) is None:
            break
        desk.follow(desk.answer(case, check[1], outcome="not-known"))
    page = text_of(desk.page)
    assert page.count("That is all that can be told") == 1, "the page does not say it twice"
    assert page.count("irst check: ") == 1, "who to send and what comes first is said once"
    assert "1 Hand over to a technician" in page
    assert "Put right first" not in page
    assert "Go on checking" not in page, "nobody is sent while there is something to ask"


def test_a_closed_sheet_prints_how_it_ended(desk: Browser) -> None:
    """Cause, parts, minutes, note, who and when stand on it; there is no next check."""
    case = desk.start()
    desk.get(f"{case}/close")
    desk.follow(desk.send(f"{case}/close", cause="ground-resistive", minutes="40",
                          replaced="Ground strap", note="Paint under it."))  # fmt: skip
    page = text_of(desk.get(f"{case}/sheet"))
    assert "How it ended Resistive ground of the solenoid" in page
    for part in ("Replaced: Ground strap", "Minutes of work: 40", "Paint under it.",
                 "Closed by local, 20"):  # fmt: skip
        assert part in page
    assert "Next checks" not in page
    assert "<svg" not in desk.page.text, "nothing is to be probed any more"
    own = re.search(r'href="([^"]*circuit=own[^"]*)"', desk.page.text)
    assert own is not None
    assert "&amp;amp;" not in own[0]
    assert 'class="picture own"' in desk.get(html.unescape(own[1])).text


def test_my_calls_and_how_old_they_are(desk: Browser, app: Flask) -> None:
    """Whoever sits here sees their own open cases apart; each tells in words how old it is."""
    mine = desk.start(fleet_number="1")
    other = Browser(app)
    other.client.post("/desk/name", data={**other.hidden("/desk/name"), "name": "Kim"})
    other.start(fleet_number="2")
    page = desk.get("/desk?state=mine")
    assert page.text.count('class="number"') == 1
    assert f'href="{mine}"' in page.text
    assert "just now" in text_of(page)
    now = datetime.now(UTC)
    assert age(now - timedelta(hours=3, minutes=5)) == "3 hours ago"
    assert age(now - timedelta(days=1, hours=1)) == "1 day ago"


def test_a_script_gets_the_next_page_at_once(desk: Browser) -> None:
    """It is the page that the redirect leads to, what was told of dangers counted, and says so."""
    case = desk.start(BRAKE)
    check = re.search(r'name="check" value="([^"]+)"', desk.page.text)
    assert check is not None
    data = {**desk.hidden(f"{case}/answers"), "outcome": "not-known"}
    asked = {"X-Threewire-In-Place": "1"}
    made = desk.client.post(f"{case}/answers", data=data, headers=asked)
    assert made.status_code == 200
    again = desk.client.post(f"{case}/answers", data=data)  # the same form, by hand
    assert again.status_code == 303
    assert made.headers["Content-Location"] == again.headers["Location"]
    led = desk.client.get(again.headers["Location"])

    def without_marks(text: str) -> str:
        return re.sub(r'name="(nonce|csrf)" value="[^"]*"', "", text)

    assert without_marks(made.text) == without_marks(led.text)
    refused = desk.client.post(f"{case}/answers", data={**data, "check": "x"}, headers=asked)
    assert refused.status_code in {409, 412, 422}
    assert "Content-Location" not in refused.headers
