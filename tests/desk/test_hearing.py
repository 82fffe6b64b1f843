"""What a caller's words may mean is proposed at the desk, and taken only where it was ticked."""

from typing import Any

import pytest

from api.cases import Book
from api.service import Service
from tests.desk.support import BRAKE, FUEL, Browser, text_of

WORDS = "Clicks but nothing since I washed it."


def findings(desk: Browser) -> list[tuple[str, str]]:
    """Return check and outcome of each finding of the one case."""
    service: Service = desk.client.application.extensions["threewire"]
    (case,) = Book.of(service).list().cases
    found = Book.of(service).get(case.number).counted
    return [(one.check, str(one.body.get("outcome"))) for one in found]


def start(desk: Browser, **more: Any) -> Any:
    """Start a call on a fuel machine; return the answer to its form."""
    desk.get("/desk/call")
    return desk.send("/desk/call", **{**FUEL, **more})


def test_words_are_proposed_before_the_first_step(desk: Browser) -> None:
    """Without the script the words of a call lead to a page that proposes, and takes nothing."""
    sent = start(desk, complaint=WORDS)
    assert sent.location.endswith("/heard")
    page = text_of(desk.get(sent.location))
    assert "The relay clicks \u201cClicks but nothing\u201d" in page
    assert "It was pressure-washed \u201csince I washed\u201d" in page
    assert "It turns over but does not start" not in page  # answered on the form
    assert findings(desk) == [("engine-response", "cranks-no-start")]


def test_what_is_ticked_is_taken_in_one_step(desk: Browser) -> None:
    """Ticked proposals are findings; the others are not, and the call goes on."""
    heard = start(desk, complaint=WORDS).location
    desk.get(heard)
    sent = desk.send(heard, heard=["relay-click=heard", "recent-work=pressure-washed"])
    assert sent.status_code == 303
    assert findings(desk)[1:] == [("relay-click", "heard"), ("recent-work", "pressure-washed")]
    assert "It does not move" in text_of(desk.get(heard))  # is still to be answered


def test_nothing_ticked_changes_nothing(desk: Browser) -> None:
    """Who ticks nothing goes on to the first step with what was answered before."""
    heard = start(desk, complaint=WORDS).location
    desk.get(heard)
    assert not desk.send(heard).location.endswith("/heard")
    assert findings(desk) == [("engine-response", "cranks-no-start")]


def test_chips_of_the_form_are_taken_with_it(desk: Browser) -> None:
    """What was ticked while the call was written is found with it, of a brake's side too."""
    desk.get("/desk/call")
    shown = ["relay-click=heard", "plunger-action=no-movement"]
    sent = desk.send(
        "/desk/call", **{**BRAKE, "complaint": "Clicks but nothing."},
        shown=shown, heard=["plunger-action=no-movement"],
    )  # fmt: skip
    assert not sent.location.endswith("/heard")  # all of it was in sight
    assert findings(desk) == [
        ("brake-response", "will-not-release"), ("plunger-action", "no-movement"),
    ]  # fmt: skip


def test_a_danger_heard_is_shown_until_it_is_answered(desk: Browser) -> None:
    """The words of a danger stand first, even where they were in sight while it was typed."""
    sent = start(desk, complaint="It smells burnt.", shown=["coil-temperature=smoking"])
    page = text_of(desk.get(sent.location))
    assert "STOP If that is so, read this out now The solenoid smokes" in page
    desk.send(sent.location, heard=["coil-temperature=smoking"])
    assert ("coil-temperature", "smoking") in findings(desk)


@pytest.mark.parametrize("tick", ["relay-click=herd", "nonsense", "pull-current=low", "parked=yes"])
def test_what_is_no_answer_is_not_taken(desk: Browser, tick: str) -> None:
    """A tick of our own making is passed over: the case keeps what can be found on the machine."""
    start(desk, heard=[tick])
    assert findings(desk) == [("engine-response", "cranks-no-start")]


def test_two_answers_of_one_check_are_asked_back(desk: Browser) -> None:
    """Two answers of one check are refused in words, with the form kept."""
    heard = start(desk, complaint="It clicks. No click. It is hot to the touch.").location
    desk.get(heard)
    sent = desk.send(heard, heard=["relay-click=heard", "relay-click=not-heard"])
    assert sent.status_code == 422
    assert "Tick one answer of a check" in sent.text
    assert findings(desk) == [("engine-response", "cranks-no-start")]


def test_chips_are_shown_while_it_is_typed(desk: Browser) -> None:
    """The page behind the script has the chips for the words so far, with what was ticked."""
    desk.get("/desk/call")
    sent = desk.client.post("/desk/hear", data={
        "csrf": desk.hidden("/desk/call")["csrf"], "complaint": WORDS, "duty": "2",
        "heard": "relay-click=heard",
    })  # fmt: skip
    assert 'value="relay-click=heard" data-digit="1" checked' in sent.text
    assert 'value="plunger-action=no-movement" data-digit="2">' in sent.text


def test_a_check_is_found_by_what_callers_say(desk: Browser) -> None:
    """The search knows the words of callers and technicians beside a check's own."""
    call = start(desk).location
    assert "Pull current" in text_of(desk.get(f"{call}?find=amp+draw"))
    assert "Click of the pull relay" in text_of(desk.get(f"{call}?find=clicks"))
