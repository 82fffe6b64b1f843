"""``threewire sum``: the bench sums, one a command, with the answer that the service gives."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

import click

from api import strict_json
from api.answers.text import Line, Section, as_text
from api.cli.inputs import BadInput, knowledge_from, overlay_option, write
from api.sums import SUMS, compute, explain, unknown_sum
from api.sums.model import Sum, shown
from api.sums.plot import svg
from engine import RequestError

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)


class SumGroup(click.Group):
    """The sums as commands."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the ids in the order of the table."""
        return list(SUMS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command of one sum, or None for an id that does not exist."""
        return _command(SUMS[cmd_name]) if cmd_name in SUMS else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Name the nearest sum for one that does not exist."""
        if args and args[0] not in SUMS and not args[0].startswith("-"):
            raise BadInput([unknown_sum(args[0], list(SUMS))])
        return super().resolve_command(ctx, args)


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

    @click.command(sum_.id, help=_help(sum_), short_help=sum_.title)
    @click.argument("values", nargs=-1, metavar="[NAME=VALUE]...")
    @click.option("--json", "as_json", is_flag=True, help="Print what the service would answer.")
    @click.option("--svg", "picture", metavar="FILE", type=click.Path(dir_okay=False),
                  help="Draw the curve into FILE.")  # fmt: skip
    @overlay_option
    def work(
        values: tuple[str, ...], as_json: bool, picture: str | None, overlay: tuple[str, ...]
    ) -> None:
        if not values and not as_json and picture is None:
            _print(_explanation(sum_))
            return
        document = _work(sum_, values, overlay)
        if picture is not None:
            _draw(document, picture)
        if as_json:
            write(strict_json.dumps(document))
        else:
            _print(_sections(document))

    return work


def _help(sum_: Sum[Any]) -> str:
    """Return the help text of a sum: what it tells and its fields, each on a line of its own."""
    rows = "\n".join(f"{lead} {text}" for lead, text in _field_rows(sum_))
    return f"{sum_.tells}\n\n\b\nFields (* must be given):\n{rows}\n\n\b\n{_example(sum_)}"


def _field_rows(sum_: Sum[Any]) -> list[tuple[str, str]]:
    return [
        (f"{one['name']}{'*' if one['required'] else ''}:", f"{one['what']} {_limits(one)}")
        for one in explain(sum_)["fields"]
    ]


def _limits(about: Mapping[str, Any]) -> str:
    """Return what a field takes, in words."""
    unit = f" {about['unit']}" if about["unit"] else ""
    if "one_of" in about:
        said = "One of " + ", ".join(_value(one) for one in about["one_of"]) + unit
    else:
        said = f"{shown(about['low'])} to {shown(about['high'])}{unit}"
    if "or_word" in about:
        said += f", or {about['or_word']}"
    return said + (f"; {_value(about['default'])} when left out." if "default" in about else ".")


def _value(value: float | str) -> str:
    return value if isinstance(value, str) else shown(value)


def _example(sum_: Sum[Any]) -> str:
    given = " ".join(f"{name}={_value(value)}" for name, value in sum_.example.items())
    return f"threewire sum {sum_.id} {given}"


def _explanation(sum_: Sum[Any]) -> list[Section]:
    rows = [Line(text, lead=lead) for lead, text in _field_rows(sum_)]
    return [
        Section(sum_.title, [Line(sum_.tells)]),
        Section("Fields (* must be given)", rows),
        Section("Example", [Line(_example(sum_))]),
    ]


def _work(sum_: Sum[Any], values: Sequence[str], overlay: Sequence[str]) -> dict[str, Any]:
    """Return the document. Raises BadInput with a line for every value that does not fit."""
    given = _given(values)
    knowledge = knowledge_from(overlay)
    try:
        return compute(knowledge, sum_.id, given)
    except RequestError as error:
        raise BadInput(str(fault) for fault in error.faults) from None


def _given(values: Sequence[str]) -> dict[str, Any]:
    """Return NAME=VALUE words as data. Raises BadInput for words that are none, or named twice."""
    found: dict[str, Any] = {}
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
            found[name] = _typed(value)
    if faults:
        raise BadInput(faults)
    return found


def _typed(value: str) -> float | str:
    """Return the number that a word is, also one such as .345, else the word as it stands."""
    return float(value) if _NUMBER.fullmatch(value) else value


def _draw(document: Mapping[str, Any], name: str) -> None:
    """Write the picture. Raises BadInput where there is no curve or the file cannot be written."""
    if document["curve"] is None:
        raise BadInput([f"the sum {document['sum']} has no curve to draw"])
    write(svg(document["curve"], document["title"]) + "\n", name)


def _sections(document: Mapping[str, Any]) -> list[Section]:
    """Return the answer in the order in which it is read: answer, dangers, figures, grounds."""
    figures = [
        Line(_figure(one), lead=f"{one['name']}:")
        for one in document["results"]
        if one["value"] is not None
    ]
    cautions = [Line(text, lead="!") for text in document["cautions"]]
    grounds = [
        Line(document["formula"], lead="Formula:"),
        Line(document["source"], lead="Source:"),
        *(Line(text, lead="-") for text in document["assumptions"]),
    ]
    return [
        Section(document["title"], [Line(document["says"])]),
        Section("Mind", cautions),
        Section("Figures", figures),
        Section("What it rests on", grounds),
    ]


def _figure(figure: Mapping[str, Any]) -> str:
    value = figure["value"]
    text = value if isinstance(value, str) else shown(value)
    return f"{text} {figure['unit']}".rstrip()


def _print(sections: Sequence[Section]) -> None:
    click.echo("\n".join(as_text(sections)).rstrip())
