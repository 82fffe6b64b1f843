"""``kb formats``: the reference of the formats as Markdown."""

from collections.abc import Callable

from click.testing import Result

Run = Callable[..., Result]


def test_formats_are_printed_as_tables(run: Run) -> None:
    """Each kind of file is a section, each key a row with its words and its closed set."""
    done = run("kb", "formats")
    assert done.exit_code == 0
    assert "## Cause\n\nSomething that can be wrong.\n" in done.output
    row = "| `section` | text | yes | Part of the circuit: `supply`, `control`, `wiring`, "
    assert row in done.output
    assert "| `set_aside` | traps |" in done.output
