"""From a case that is closed over HTTP to the signed event at the receiver: one real service."""

import time
from pathlib import Path

from standardwebhooks.webhooks import Webhook

from api.cases.events import endpoints
from tests.cases.events.receiver import serving
from tests.databases import set_up
from tests.serving import Running

MACHINE = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}


def test_a_closed_case_arrives_signed(database_url: str, tmp_path: Path) -> None:
    """Two workers, one endpoint that answers nothing at first: requests do not wait for it, and
    each event arrives once."""
    from datetime import UTC, datetime

    database = set_up(database_url)
    with serving() as receiver:
        endpoint = database.write(
            lambda session: endpoints.add(
                session, receiver.url, ("case.closed",), ("127.0.0.0/8",), datetime.now(UTC)
            )
        )
        receiver.hold.clear()
        environment = {
            "THREEWIRE_DATABASE": database_url, "THREEWIRE_WEBHOOK_ALLOW": "127.0.0.0/8",
        }  # fmt: skip
        server = Running(tmp_path / "home", "--workers", "2", environment=environment)
        try:
            server.wait_ready()
            numbers = []
            for _ in range(6):
                made = server.ask("POST", "/v1/cases", {"machine": MACHINE})
                assert made.status_code == 201, made.text
                number = made.json()["number"]
                closed = server.ask("POST", f"/v1/cases/{number}/close", {"cause": "healthy"},
                                    **{"If-Match": made.headers["ETag"]})  # fmt: skip
                assert closed.status_code == 200, closed.text
                numbers.append(number)
            receiver.hold.set()  # nothing was answered there until now
            deadline = time.monotonic() + 30
            while len(receiver.bodies) < 6 and time.monotonic() < deadline:
                time.sleep(0.05)
            time.sleep(1.5)  # one that came twice would come now
        finally:
            server.kill()
    found = [
        Webhook(endpoint.secret).verify(body, headers)
        for body, headers in zip(receiver.bodies, receiver.headers, strict=True)
    ]
    assert sorted(one["data"]["case"]["number"] for one in found) == sorted(numbers)
    assert {one["type"] for one in found} == {"case.closed"}
    database.close()
