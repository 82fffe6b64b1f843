"""``threewire events``: endpoints made, shown, taken out of use and back."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from standardwebhooks.webhooks import Webhook

from api.cases import events
from api.cli.main import threewire
from api.store import Database
from tests.cases.events.receiver import Receiver


@pytest.fixture
def run(database: Database, tmp_path: Path) -> Callable[..., Result]:
    """Run the command on the store, with the loopback network allowed by a settings file."""
    config = tmp_path / "threewire.toml"
    config.write_text('webhook_allow = ["127.0.0.0/8"]\n')
    url = database.url.render_as_string(hide_password=False)

    def call(*arguments: str) -> Result:
        options = ("--database", url, "--config", str(config))
        return CliRunner().invoke(threewire, ["events", *arguments, *options])

    return call


def test_life_of_an_endpoint(
    run: Callable[..., Result], database: Database, receiver: Receiver
) -> None:
    """Made, used, disabled, taken back: each step says what it did; the secret is shown once."""
    from datetime import UTC, datetime

    made = run("add", receiver.url, "--kind", "case.closed")
    assert made.exit_code == 0, made.output
    name, secret = made.stdout.split()[0], made.stdout.split("secret: ")[1].split()[0]
    with database.writing() as session:
        events.enqueue(session, "case.closed", {"n": 1}, datetime.now(UTC))
    assert run("deliver", "--once").stdout == "1 delivered\n"
    assert Webhook(secret).verify(receiver.bodies[0], receiver.headers[0])["data"] == {"n": 1}
    assert f"{name}: disabled; 0 events given up" in run("disable", name).stdout
    shown = run("list").stdout
    assert "disabled" in shown
    assert "1 delivered" in shown
    assert secret not in shown
    assert f"{name}: in use; 0 events" in run("retry", name).stdout


def test_failure_is_told_by_the_exit_status(
    run: Callable[..., Result], database: Database, receiver: Receiver
) -> None:
    """'deliver --once' ends with 1 when something did not get through, and 'list' says why."""
    from datetime import UTC, datetime

    run("add", receiver.url)
    with database.writing() as session:
        events.enqueue(session, "finding.added", {}, datetime.now(UTC))
    receiver.statuses.append(500)
    done = run("deliver", "--once")
    assert (done.exit_code, done.stdout) == (1, "1 to be sent again\n")
    assert "answered 500" in run("list").stdout


def test_what_failed_is_sent_again_by_hand(
    run: Callable[..., Result], database: Database, receiver: Receiver
) -> None:
    """A receiver that is mended need not wait for the next attempt: 'retry' makes it due."""
    from datetime import UTC, datetime

    name = run("add", receiver.url).stdout.split()[0]
    with database.writing() as session:
        events.enqueue(session, "finding.added", {}, datetime.now(UTC))
    receiver.statuses.append(500)
    run("deliver", "--once")
    assert run("deliver", "--once").stdout == "nothing is due\n"
    assert f"{name}: in use; 1 events to be sent again" in run("retry", name).stdout
    assert run("deliver", "--once").stdout == "1 delivered\n"


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("add", "https://169.254.169.254/"), "never called"),
        (("add", "http://10.0.0.1/"), "webhook_allow"),
        (("add", "ftp://127.0.0.1/"), "https://"),
        (("disable", "ep_none"), "no endpoint"),
        (("retry", "ep_none"), "no endpoint"),
    ],
)
def test_refusals_are_one_line(
    run: Callable[..., Result], arguments: tuple[str, ...], word: str
) -> None:
    """What cannot be done is told in one line with exit status 1, and nothing is kept."""
    done = run(*arguments)
    assert done.exit_code == 1
    assert word in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert "no endpoints" in run("list").stdout
