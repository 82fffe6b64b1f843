"""Signatures against the specification's reference library and its published example."""

from datetime import UTC, datetime, timedelta, timezone

from api.cases.events import posting

PAYLOAD = '{"type":"case.closed","data":{"note":"grün"}}'


def test_published_example() -> None:
    """The example in the tests of the Standard Webhooks reference libraries gives its signature."""
    found = posting.headers(
        ["whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"], "msg_p5jXN8AQM9LWM0D4loKWxJek",
        '{"test": 2432232314}', datetime.fromtimestamp(1614265330, UTC),
    )  # fmt: skip
    assert found["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
    assert found["webhook-timestamp"] == "1614265330"


def test_the_hand_of_the_clock_is_no_matter() -> None:
    """The same moment in another zone gives the same headers (Kathmandu is 5 h 45 min ahead)."""
    moment = datetime(2026, 11, 28, 12, 0, tzinfo=UTC)
    elsewhere = moment.astimezone(timezone(timedelta(hours=5, minutes=45)))
    secret = posting.new_secret()
    assert posting.headers([secret], "msg_1", PAYLOAD, elsewhere) == posting.headers(
        [secret], "msg_1", PAYLOAD, moment
    )


def test_secrets_differ_and_are_long_enough() -> None:
    """A secret is at least 24 bytes (the specification's least) and no two are the same."""
    import base64

    secrets = {posting.new_secret() for _ in range(50)}
    assert len(secrets) == 50
    assert all(len(base64.b64decode(one.removeprefix("whsec_"))) >= 24 for one in secrets)
