"""What is due is sent, in order, signed, again after a failure, and by one sender at a time."""

import json
import threading
import time
from collections import Counter
from collections.abc import Callable
from datetime import timedelta

import pytest
from standardwebhooks.webhooks import Webhook

from api.cases.events import endpoints, posting
from api.cases.events import sender as senders
from api.cases.events.queue import ATTEMPTS, LEASE, WAITS, prune, take
from api.cases.events.sender import Sender
from api.store.models import Endpoint
from tests.cases.events.conftest import Queue
from tests.cases.events.receiver import Receiver, serving


def test_in_order_and_signed(queue: Queue, receiver: Receiver) -> None:
    """Twenty events come in the order in which they were made; the library takes each."""
    names = [str(number) for number in range(20)]
    queue.put(*names)
    assert queue.sender().deliver_due() == Counter(delivered=20)
    library = Webhook(queue.endpoint.secret)
    found = [library.verify(*one) for one in zip(receiver.bodies, receiver.headers, strict=True)]
    assert [one["data"]["case"] for one in found] == names
    assert {row.state for row in queue.rows()} == {"delivered"}
    assert receiver.headers[0]["content-type"] == "application/json"


def test_nothing_is_sent_twice_or_early(queue: Queue, receiver: Receiver) -> None:
    """A second run finds nothing due, nor does one before a failed event's wait is over."""
    queue.put("a")
    receiver.statuses.append(500)
    sender = queue.sender()
    sender.deliver_due()
    queue.clock.forward(WAITS[0] * 0.7)
    assert not sender.deliver_due()
    queue.clock.forward(WAITS[0])
    assert sender.deliver_due() == Counter(delivered=1)
    assert not sender.deliver_due()
    assert len(receiver.bodies) == 2


def test_failures_follow_the_schedule_to_its_end(queue: Queue, receiver: Receiver) -> None:
    """Waits are those of the specification's example, 76 hours in all, one fifth more or less;
    then the event is given up, which the log and the queue say."""
    assert timedelta(seconds=sum(WAITS)) == timedelta(hours=75, minutes=35, seconds=5)
    queue.put("a")
    receiver.statuses.extend([503] * ATTEMPTS)
    sender = queue.sender()
    for wait in WAITS:
        assert sender.deliver_due() == Counter({"to be sent again": 1})
        until = (queue.rows()[0].next_at - queue.clock()).total_seconds()
        assert wait * 0.8 <= until <= wait * 1.2
        queue.clock.forward(until)
    assert sender.deliver_due() == Counter({"given up": 1})
    assert queue.rows()[0].state == "given-up"
    assert len({one["webhook-id"] for one in receiver.headers}) == 1
    assert len(receiver.bodies) == ATTEMPTS == 10


def test_waits_are_spread(queue: Queue, receiver: Receiver) -> None:
    """Events that fail together are not all sent again at the same moment."""
    queue.put(*"abcdefgh")
    receiver.statuses.extend([500] * 8)
    queue.sender().deliver_due()
    assert len({row.next_at for row in queue.rows()}) == 8


def test_retry_after_is_kept(queue: Queue, receiver: Receiver) -> None:
    """A receiver that asks for ten minutes is left alone for ten minutes."""
    queue.put("a")
    receiver.statuses.append(429)
    receiver.answer_headers["Retry-After"] = "600"
    queue.sender().deliver_due()
    assert queue.rows()[0].next_at == queue.clock() + timedelta(seconds=600)


def test_gone_disables_the_endpoint(queue: Queue, receiver: Receiver) -> None:
    """After 410 nothing more is sent there, until an administrator takes it back into use."""
    queue.put("a", "b")
    receiver.statuses.append(410)
    queue.sender().deliver_due()
    queue.put("c")
    assert not queue.sender().deliver_due()
    assert [row.state for row in queue.rows()] == ["given-up", "given-up"]
    with queue.database.writing() as session:
        assert endpoints.retry(session, queue.endpoint.id, queue.clock()) == 2
    assert queue.sender().deliver_due() == Counter(delivered=2)


def test_redirects_are_not_followed(queue: Queue, receiver: Receiver) -> None:
    """A redirect to an address that nobody allowed counts as a failure; nothing is sent there."""
    with serving() as other:
        receiver.answer_headers["Location"] = other.url
        receiver.statuses.extend([301, 307])
        queue.put("a", "b")
        assert queue.sender().deliver_due() == Counter({"to be sent again": 2})
        assert not other.bodies


def test_an_address_that_is_no_longer_allowed_is_not_called(
    queue: Queue, receiver: Receiver
) -> None:
    """What counts is what is allowed when it is sent, not when the endpoint was made."""
    queue.put("a")
    assert queue.sender(allowed=()).deliver_due() == Counter({"to be sent again": 1})
    assert not receiver.bodies
    assert "webhook_allow" in queue.rows()[0].last_result


@pytest.mark.both_databases
def test_a_crash_between_sending_and_marking(
    queue: Queue, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is sent again when the lease is over, with the same id, by which receivers know it."""
    queue.put("a")

    def die(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("api.cases.events.queue.delivered", die)
        with pytest.raises(KeyboardInterrupt):
            queue.sender().deliver_due()
    assert not queue.sender().deliver_due()
    queue.clock.forward(LEASE.total_seconds())
    assert queue.sender().deliver_due() == Counter(delivered=1)
    first, second = (one["webhook-id"] for one in receiver.headers)
    assert first == second
    assert receiver.bodies[0] == receiver.bodies[1]


def test_a_lease_is_longer_than_an_attempt() -> None:
    """So no second sender takes an event while the first is still at it, two addresses deep."""
    assert LEASE.total_seconds() > 2 * (posting.WHOLE_SECONDS + posting.CONNECT_SECONDS)


@pytest.mark.both_databases
def test_one_who_lost_its_lease_changes_nothing(queue: Queue, receiver: Receiver) -> None:
    """A failure that is told late does not undo what another sender has done meanwhile."""
    from api.cases.events import queue as queues

    queue.put("a")
    late = take(queue.database, queue.clock())
    assert late is not None
    queue.clock.forward(LEASE.total_seconds())
    assert queue.sender().deliver_due() == Counter(delivered=1)
    queues.failed(queue.database, late[0], "late", queue.clock())
    assert [(row.state, row.last_result) for row in queue.rows()] == [("delivered", "answered 200")]


@pytest.mark.both_databases
def test_several_senders_share_the_work(queue: Queue, receiver: Receiver) -> None:
    """Four senders at once deliver each of sixty events exactly once."""
    queue.put(*(str(number) for number in range(60)))
    threads = [threading.Thread(target=queue.sender().deliver_due) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    cases = Counter(json.loads(body)["data"]["case"] for body in receiver.bodies)
    assert cases == Counter(str(number) for number in range(60))
    assert {row.attempts for row in queue.rows()} == {1}


def test_one_that_hangs_holds_up_no_other(
    queue: Queue, receiver: Receiver, add: Callable[..., Endpoint]
) -> None:
    """While one receiver answers nothing, another gets all its events at once."""
    with serving() as other:
        add(other.url)
        receiver.hold.clear()
        queue.put(*"abcdefgh")
        sender = Sender(queue.database, ("127.0.0.0/8",), queue.clock)
        sender.start()
        _wait_until(lambda: len(other.bodies) == 8)
        assert len(receiver.bodies) == 1
        receiver.hold.set()
        _wait_until(lambda: len(receiver.bodies) == 8)
        sender.stop(5)
    assert [json.loads(body)["data"]["case"] for body in receiver.bodies] == list("abcdefgh")


def test_one_endpoint_does_not_wait_between_events(
    queue: Queue, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The next event goes as soon as the one before is through, not with the next look at the
    queue, of which forty would take five times as long as is waited here."""
    monkeypatch.setattr(senders, "POLL_SECONDS", 8.0)
    queue.put(*(str(number) for number in range(40)))
    sender = queue.sender()
    sender.start()
    _wait_until(lambda: len(receiver.bodies) == 40, seconds=60)
    sender.stop(5)


def _wait_until(true: Callable[[], bool], seconds: float = 20) -> None:
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.02)


@pytest.mark.both_databases
def test_ended_long_ago_is_deleted(queue: Queue, receiver: Receiver) -> None:
    """Delivered events go after 30 days, those given up after 90, and none that waits."""
    queue.put("delivered")
    queue.sender().deliver_due()
    queue.clock.forward(31 * 86400)
    receiver.statuses.append(500)
    queue.put("waiting")
    queue.sender().deliver_due()
    assert prune(queue.database, queue.clock()) == 1
    assert [row.state for row in queue.rows()] == ["waiting"]
    with queue.database.writing() as session:
        endpoints.disable(session, queue.endpoint.id, queue.clock(), "test")
    queue.clock.forward(89 * 86400)
    assert prune(queue.database, queue.clock()) == 0
    queue.clock.forward(2 * 86400)
    assert prune(queue.database, queue.clock()) == 1
