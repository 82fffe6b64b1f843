"""``threewire sum``: the bench sums, with the answer that the service gives."""

from collections.abc import Mapping, Sequence

import click

from api import strict_json
from api.answers.text import Line, Section
from api.cli.inputs import BadInput, knowledge_option, show, told, write
from api.interview.readings import NotRead, quantity_in
from api.strict_json import Json
from api.sums import SUMS, compute
from api.sums.entries import SumField
from api.sums.model import Sum, shown
from engine import Knowledge, RequestError
from engine.knowledge.faults import unknown


@click.command("sum")
@click.argument("name", metavar="[ID]", default="")
@click.argument("values", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--json", "as_json", is_flag=True, help="Print what the service would answer.")
@knowledge_option
@told(RequestError)
def sums(name: str, values: tuple[str, ...], as_json: bool, knowledge: Knowledge) -> None:
    """Work a bench sum: current, feed, fuse, heat, margin, pins, meter.

    Without ID the sums are listed; without values a sum explains its fields.
    """
    if not name:
        lines = [Line(one.tells, lead=f"{one.id}:") for one in SUMS.values()]
        how = "threewire sum ID explains the fields; threewire sum ID NAME=VALUE ... works it."
        show([Section("Bench sums", [*lines, Line(how)])])
        return
    if name not in SUMS:
        raise BadInput([unknown("sum", name, SUMS)])
    if not values and not as_json:
        show(_explained(SUMS[name]))
        return
    units = {one.name: one.unit for one in SUMS[name].fields}
    document = compute(knowledge, name, _given(values, units))
    if as_json:
        write(strict_json.dumps(document))
    else:
        show(_sections(document))


def _explained(about: Sum) -> list[Section]:
    """Return what a sum tells, takes, and how it is typed."""
    rows = [
        Line(f"{one.what} {_limits(one)}", lead=f"{one.name}{'*' if one.required else ''}:")
        for one in about.fields
    ]
    given = " ".join(f"{name}={_value(value)}" for name, value in about.example.items())
    return [
        Section(about.title, [Line(about.tells)]), Section("Fields (* must be given)", rows),
        Section("Example", [Line(f"threewire sum {about.id} {given}")]),
    ]  # fmt: skip


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
        name, _, value = word.partition("=")
        said = strict_json.shorten(name)
        if not name or not value:
            said = strict_json.shorten(word)
            faults.append(f"'{said}': write it as NAME=VALUE, such as volts=12")
        elif name in found:
            faults.append(f"{said}: given twice; give it once")
        else:
            try:
                found[name] = quantity_in(value, units.get(name, ""))
            except NotRead as fault:
                faults.append(f"{said}: {fault}")
    if faults:
        raise BadInput(faults)
    return found


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
