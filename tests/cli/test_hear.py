"""``threewire hear``: a caller's words on the command line."""

import json
from collections.abc import Callable

from click.testing import Result

Run = Callable[..., Result]


def test_the_danger_stands_first(run: Run) -> None:
    """What stops a call is printed before what may be found, each with its words."""
    done = run("hear", "It smells burnt and clicks but nothing.")
    assert done.exit_code == 0
    assert done.output.startswith("STOP. READ THIS OUT FIRST\n")
    assert "The relay clicks (\u201cclicks but nothing\u201d)" in done.output


def test_json_and_duty(run: Run) -> None:
    """With --json it is the interface's answer; a duty leaves out what its machines cannot have."""
    done = run("hear", "--json", "--duty", "brake-release", "It won't shut off, no click.")
    heard = json.loads(done.output)
    assert heard["cautions"] == []
    assert [one["outcome"] for one in heard["findings"]] == ["not-heard"]


def test_nothing_heard(run: Run) -> None:
    """Words that say nothing of the circuit are answered with a sentence, not with silence."""
    assert run("hear", "The seat is blue.").output == "Nothing is heard in that.\n"
