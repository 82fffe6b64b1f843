"""``threewire sum``: the bench sums, one a command, with the answer that the service gives."""

from collections.abc import Mapping, Sequence
from typing import Any

import click

from api import strict_json
from api.answers.text import Line, Section, as_text
from api.cli.inputs import BadInput, knowledge_from, overlay_option, told, write
from api.interview.readings import NotRead, quantity_in
from api.strict_json import Json
from api.sums import SUMS, compute
from api.sums.entries import SumField
from api.sums.model import Sum, shown
from api.sums.plot import svg
from engine import RequestError
from engine.knowledge.faults import unknown


class SumGroup(click.Group):
    """The sums as commands."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the ids in the order of the table."""
        return list(SUMS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command:
        """Return the command of one sum. Raises BadInput that names the nearest."""
        if cmd_name not in SUMS:
            raise BadInput([unknown("sum", cmd_name, SUMS)])
        return _command(SUMS[cmd_name])


@click.group("sum", cls=SumGroup, invoke_without_command=True)
@click.pass_context
def sums(ctx: click.Context) -> None:
    """Work a bench sum: current, feed, fuse, heat, margin, pins, meter.

    Without a sum they are listed; without values a sum explains its fields.
    """
    if ctx.invoked_subcommand is None:
        lines = [Line(f"{one.tells}", lead=f"{one.id}:") for one in SUMS.values()]
        how = Line(
            "threewire sum ID explains the fields; threewire sum ID NAME=VALUE ... works it."
        )
        _print([Section("Bench sums", [*lines, how])])


def _command(sum_: Sum[Any]) -> click.Command:
    """Return the click command of one sum."""
    rows = [
        Line(f"{one.what} {_limits(one)}", lead=f"{one.name}{'*' if one.required else ''}:")
        for one in sum_.fields
    ]
    given = " ".join(f"{name}={_value(value)}" for name, value in sum_.example.items())
    example = f"threewire sum {sum_.id} {given}"
    fields = "\n".join(f"{row.lead} {row.text}" for row in rows)
    about = f"{sum_.tells}\n\n\b\nFields (* must be given):\n{fields}\n\n\b\n{example}"

    @click.command(sum_.id, help=about, short_help=sum_.title)
    @click.argument("values", nargs=-1, metavar="[NAME=VALUE]...")
    @click.option("--json", "as_json", is_flag=True, help="Print what the service would answer.")
    @click.option("--svg", "picture", metavar="FILE", type=click.Path(dir_okay=False),
                  help="Draw the curve into FILE.")  # fmt: skip
    @overlay_option
    def work(
        values: tuple[str, ...], as_json: bool, picture: str | None, overlay: tuple[str, ...]
    ) -> None:
        if not values and not as_json and picture is None:
            _print([
                Section(sum_.title, [Line(sum_.tells)]), Section("Fields (* must be given)", rows),
                Section("Example", [Line(example)]),
            ])  # fmt: skip
            return
        inputs = _given(values, {one.name: one.unit for one in sum_.fields})
        with told(RequestError):
            document = compute(knowledge_from(overlay), sum_.id, inputs)
        if picture is not None:
            _draw(document, picture)
        if as_json:
            write(strict_json.dumps(document))
        else:
            _print(_sections(document))

    return work


def _limits(about: SumField) -> str:
    """Return what a field takes, in words."""
    unit = f" {about.unit}" if about.unit else ""
    if about.one_of:
        said = "One of " + ", ".join(map(_value, about.one_of)) + unit
    else:
        said = f"{_value(about.low)} to {_value(about.high)}{unit}"
    said += f", or {about.or_word}" if about.or_word else ""
    return said + ("." if about.default is None else f"; {_value(about.default)} when left out.")


def _value(value: float | str | None) -> str:
    return shown(value) if isinstance(value, (int, float)) else str(value)


def _given(values: Sequence[str], units: Mapping[str, str]) -> Json:
    """Return NAME=VALUE words as data, quantities in the field's own unit.

    Raises BadInput for words that are none, named twice, or cannot be read.
    """
    found: dict[str, float | str] = {}
    faults = []
    for word in values:
        name, sign, value = word.partition("=")
        if not sign or not name or not value:
            faults.append(
                f"'{strict_json.shorten(word)}': write it as NAME=VALUE, such as volts=12"
            )
        elif name in found:
            faults.append(f"{strict_json.shorten(name)}: given twice; give it once")
        else:
            try:
                found[name] = quantity_in(value, units.get(name, ""))
            except NotRead as fault:
                faults.append(f"{strict_json.shorten(name)}: {fault}")
    if faults:
        raise BadInput(faults)
    return found


def _draw(document: Json, name: str) -> None:
    """Write the picture. Raises BadInput where there is no curve or the file cannot be written."""
    if document["curve"] is None:
        raise BadInput([f"the sum {document['sum']} has no curve to draw"])
    write(svg(document["curve"], document["title"]) + "\n", name)


def _sections(document: Json) -> list[Section]:
    """Return the answer in the order in which it is read: answer, dangers, figures, grounds."""
    figures = [
        Line(f"{_value(one['value'])} {one['unit']}".rstrip(), lead=f"{one['name']}:")
        for one in document["results"]
        if one["value"] is not None
    ]
    grounds = [
        Line(document["formula"], lead="Formula:"),
        Line(document["source"], lead="Source:"),
        *(Line(text, lead="-") for text in document["assumptions"]),
    ]
    return [
        Section(document["title"], [Line(document["says"])]),
        Section("Mind", [Line(text, lead="!") for text in document["cautions"]]),
        Section("Figures", figures),
        Section("What it rests on", grounds),
    ]


def _print(sections: Sequence[Section]) -> None:
    click.echo("\n".join(as_text(sections)).rstrip())
