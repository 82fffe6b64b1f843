"""Who calls and when to call back, at the desk."""

from datetime import UTC, datetime, timedelta

from api.cases import Book
from api.service import Service
from tests.desk.support import Browser, text_of

NOW = datetime.now(UTC)
CALLER = {"caller_name": "Ann Quexley", "caller_phone": "555 0142", "caller_place": "north yard"}


def kept(desk: Browser) -> str:
    """Return when the caller of the one case is to be called back."""
    service: Service = desk.client.application.extensions["threewire"]
    return Book.of(service).list().cases[0].call_back_at


def test_due_callers_stand_first(desk: Browser) -> None:
    """Whose time has come stands above the list with name, phone and place, until called back."""
    due = (NOW - timedelta(hours=3)).strftime("%Y-%m-%dT%H:%M")
    desk.start(**CALLER, call_back_at=due, zone="0")
    desk.start(fleet_number="8", call_back_at="2190-01-02T03:04", zone="0")
    page = text_of(desk.get("/desk"))
    first, _, rest = page.partition("Open cases")
    assert "To call back now" in first
    assert "Ann Quexley 555 0142 , north yard. Was due 3 hours ago" in first
    assert "no. 8" not in first
    assert "Call back 2190-01-02 03:04 UTC" in rest
    action = desk.page.text.partition("/called-back")[0].rpartition('"')[2] + "/called-back"
    assert desk.send(action).status_code == 303
    assert "To call back now" not in desk.get("/desk").text


def test_a_time_is_that_of_the_browser(desk: Browser) -> None:
    """The browser's clock goes for the time that is chosen; the form shows it again."""
    case = desk.start(call_back_at="2190-01-02T03:04", zone="-300")
    assert kept(desk) == "2190-01-02T08:04:00Z"
    local = datetime(2190, 1, 2, 8, 4, tzinfo=UTC).astimezone().strftime("%Y-%m-%dT%H:%M")
    page = desk.get(f"{case}/machine").text
    assert f'value="{local}"' in page
    assert 'data-at="2190-01-02T08:04:00Z"' in page


def test_a_bad_time_is_asked_again(desk: Browser) -> None:
    """What is no time is refused at its field, and the form is kept."""
    desk.get("/desk/call")
    sent = desk.send("/desk/call", duty="1", read_out="1", call_back_at="soon", caller_name="Ann")
    assert sent.status_code == 422
    assert "Choose a day and a time" in sent.text
    assert 'value="Ann"' in sent.text
