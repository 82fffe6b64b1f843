"""Two recordings beside each other: left and right, before and after, last year and today."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from api.answers.text import Line, Section
from api.recordings.document import found_words
from api.strict_json import Json
from api.sums.model import neat, shown
from engine.answer.documents import Document

SAME_AGAIN = 0.01  # share by which a good pull differs from the next: its warmth (judgement)
TOLD_APART = 2.0  # standard uncertainties: some 95 in 100 of equal pairs stay below (JCGM 100:2008)


@dataclass(frozen=True)
class TraceChange(Document):
    """One thing read from both recordings; without numbers ``difference`` is None.

    ``uncertainty`` is the standard uncertainty of the difference, both readings' and what a pull
    differs from the next by.
    """

    name: str
    first: float | str
    second: float | str
    unit: str
    difference: float | None
    uncertainty: float | None
    changed: bool


def changes(first: Json, second: Json) -> list[TraceChange]:
    """Return what two answers have in common, as the first has it in order, and what changed."""
    mine, other = dict(_read(first)), dict(_read(second))
    return [_change(name, mine[name], other[name]) for name in mine if name in other]


Read = tuple[float | str, str, float]  # value, unit, standard uncertainty


def _read(answer: Json) -> Iterator[tuple[str, Read]]:
    for one in answer["findings"]:
        if "outcome" in one:
            yield one["check"], (found_words(one), "", 0.0)
        else:
            doubt = one["meter"]["resolution"] / math.sqrt(3)
            yield one["check"], (float(one["value"]), one["unit"], doubt)
    for one in answer["figures"]:
        yield one["name"], (one["value"], one["unit"], one["uncertainty"] or 0.0)


def _change(name: str, first: Read, second: Read) -> TraceChange:
    (one, unit, u_one), (two, _, u_two) = first, second
    if isinstance(one, str) or isinstance(two, str):
        return TraceChange(name, one, two, unit, None, None, one != two)
    spread = SAME_AGAIN * max(abs(one), abs(two))
    doubt = math.sqrt(u_one**2 + u_two**2 + spread**2)
    apart = two - one
    told = abs(apart) > TOLD_APART * doubt
    return TraceChange(name, one, two, unit, neat(apart), neat(doubt), told)


def comparison(first: Json, second: Json) -> Section:
    """Return what changed from one recording to the other, as a part of the report."""
    found = changes(first, second)
    lines = [Line(_words(one), lead=f"{one.name}:") for one in found if one.changed]
    same = ", ".join(one.name for one in found if not one.changed)
    kept = [Line(f"{same}.", lead="No more apart than one pull from the next:")] if same else []
    return Section("Changed from the first to the second", [*(lines or [Line("Nothing.")]), *kept])


def _words(one: TraceChange) -> str:
    if one.difference is None or one.uncertainty is None:
        return f"{one.first} before, {one.second} now."
    sign = "+" if one.difference > 0 else "-"
    return (
        f"{shown(float(one.first))} before, {shown(float(one.second))} {one.unit} now: "
        f"{sign}{shown(abs(one.difference), 3)} (+-{shown(TOLD_APART * one.uncertainty, 2)})."
    )
