"""``threewire hear``: what a caller's words may mean."""

import click

from api import strict_json
from api.answers.text import Line, Section, as_text
from api.cli.inputs import Listed, knowledge_from, overlay_option
from api.interview.hearing import HearingAnswer, hear, quoted
from engine.knowledge.items import DUTIES


@click.command("hear")
@click.argument("text")
@click.option("--duty", type=Listed("duty", DUTIES), help="What the solenoid does, where known.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@overlay_option
def hear_text(text: str, duty: str | None, as_json: bool, overlay: tuple[str, ...]) -> None:
    """Say what a caller's words (TEXT) may mean; nothing is taken before you confirm it."""
    found = hear(knowledge_from(overlay), text, duty)
    if as_json:
        click.echo(strict_json.dumps(found.to_dict()))
    else:
        click.echo("\n".join(as_text(_sections(found))).strip() or "Nothing is heard in that.")


def _sections(found: HearingAnswer) -> list[Section]:
    rows = {
        "STOP. Read this out first": [(one.text, one.heard) for one in found.cautions],
        "Perhaps found": [
            (f"{one.name}: {one.words}", one.heard) for one in (*found.complaints, *found.findings)
        ],
        "Perhaps it is": [(one.name, one.heard) for one in found.causes],
        "Asked for": [(one.name, one.heard) for one in found.checks],
    }
    return [
        Section(title, [Line(f"{words} ({quoted(heard)})") for words, heard in lines])
        for title, lines in rows.items() if lines
    ]  # fmt: skip
