"""What there is to draw on a machine: parts with their names and places, points with theirs.

Where control type or coil style is not known, what every possible circuit has is drawn, and a
sentence says what is not.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from api.strict_json import Json
from engine import Knowledge
from engine.knowledge import items

Shape = Literal["wide", "tall"]
SHAPES: tuple[Shape, ...] = ("wide", "tall")
UNKNOWN = "unknown"
_SYMBOLS = {"source": "battery", "contact": "contact", "load": "load", "wire": "wire"}
_RAILS = ("distribution",)  # the far end of a fault that comes from there
_UNKNOWN_END, _FROM, _TO = "unknown:", "from:", "to:"
MOST_FAULTS: Mapping[Shape, int] = {"wide": 8, "tall": 3}
_MOMENTS = {"off": "key off", "cranking": "while the engine cranks", "running": "engine running"}
_SPARE_COLUMNS = 3  # parts without a place of their own stand in so many columns below the rest


@dataclass(frozen=True)
class Drawn:
    """A part as it is drawn: current flows from ``top`` to ``bottom``."""

    id: str
    name: str
    symbol: str
    top: str
    bottom: str
    column: int
    row: int
    frame: str
    operated_by: tuple[str, str] | None
    fault: bool = False  # a healthy circuit does not have it


@dataclass(frozen=True)
class Point:
    """A point of the circuit: what is written there, what a lead put there touches."""

    id: str
    label: str
    touches: str
    anchor: str
    path: str


@dataclass(frozen=True)
class Diagram:
    """Everything to draw, and in words what is left out because it is not known."""

    circuits: tuple[items.Circuit, ...]
    coil: str
    parts: tuple[Drawn, ...]
    points: Mapping[str, Point]
    unknowns: tuple[str, ...]

    @property
    def names(self) -> dict[str, str]:
        """Return the names of the parts by their id."""
        return {part.id: part.name for part in self.parts}

    def named(self, parts: Iterable[str]) -> list[str]:
        """Return the names of those parts that are drawn."""
        return [self.names[one] for one in parts if one in self.names]

    def path_of(self, part: Drawn) -> str:
        """Return the way of the current that a part belongs to: that of its feed, else its end."""
        above, below = self.points[part.top].path, self.points[part.bottom].path
        return above or (below if below != "ground" else "")

    def touches(self, node: str) -> str:
        """Return what a lead at a point touches."""
        point = self.points.get(node)
        return point.touches if point else f"{node.replace('-', ' ')} (not in this drawing)"

    def moments(self, phase: str) -> str:
        """Return in words when a reading in this phase is taken."""
        own = {"on-command": "command_words", "after-command": "hold_words"}
        words = [getattr(circuit, own.get(phase, ""), "") for circuit in self.circuits]
        return " or ".join(dict.fromkeys(one or _MOMENTS[phase] for one in words))


def make_diagram(
    knowledge: Knowledge, machine: Json, shape: Shape, faults: Sequence[str] = ()
) -> Diagram:
    """Return what to draw of a machine (``duty``, ``control``, ``coil``).

    ``faults`` are parts to be shown that a healthy circuit does not have, the likeliest first; of
    too many the rest is left out, for the wires need room.
    """
    circuits = tuple(knowledge.circuits_of(machine["duty"], machine["control"]))
    coil = str(machine["coil"])
    of_circuits = []
    for circuit in circuits:  # with the parts of the coil style, or those that both styles have
        known = [circuit.coils[coil]] if coil in circuit.coils else circuit.coils.values()
        both = _common([style.parts for style in known])
        of_circuits.append([*circuit.parts.values(), *both])
    common = _common(of_circuits)
    absent = {part.id for part in common if part.absent}
    shown = [name for name in faults if name in absent][: MOST_FAULTS[shape]]
    wanted = [part for part in common if not part.absent or part.id in shown]
    drawn = _place(wanted, knowledge.rows("drawing-parts"), coil, shape)
    rows = knowledge.rows("drawing-nodes")
    used = dict.fromkeys(node for part in drawn for node in (part.top, part.bottom))
    points = {node: _point(node, rows, coil) for node in used}
    return Diagram(circuits, coil, tuple(drawn), points, _unknowns(circuits, coil))


def _common(lists: Sequence[Sequence[items.Part]]) -> list[items.Part]:
    """Return the parts that stand in every list; an end that differs is an end of its own."""
    others = [{part.id: part for part in one} for one in lists[1:]]
    found = []
    for part in lists[0] if lists else ():
        if all(part.id in one for one in others):
            ends = [
                end if all(one[part.id].between[place] == end for one in others) else ""
                for place, end in enumerate(part.between)
            ]
            if any(ends):  # an empty one is a point that only this part has
                start, end = (one or f"{_UNKNOWN_END}{part.id}" for one in ends)
                found.append(replace(part, between=(start, end)))
    return found


def _place(
    parts: Sequence[items.Part], rows: Mapping[str, Json], coil: str, shape: Shape
) -> list[Drawn]:
    """Give each part its cell; one whose cell is taken or unknown goes below the others."""
    lowest = 1 + max(int(row[f"{shape}_row"]) for row in rows.values())
    taken: set[tuple[int, int]] = set()
    drawn = []
    spare = 0
    for part in parts:
        row = rows.get(part.id, {})
        cell = (row.get(f"{shape}_column", -1), row.get(f"{shape}_row", -1))
        if min(cell) < 0 or cell in taken:
            cell = (spare % _SPARE_COLUMNS, lowest + spare // _SPARE_COLUMNS)
            spare += 1
        taken.add(cell)
        drawn.append(_drawn(part, row, coil, cell))
    return drawn


def _drawn(part: items.Part, row: Json, coil: str, cell: tuple[int, int]) -> Drawn:
    top, bottom = part.between
    if row.get("upside_down", part.kind == "source"):
        top, bottom = bottom, top
    if part.absent and top in _RAILS:  # a fault says in words where its far end leads
        top = f"{_FROM}{part.id}:{top}"
    elif part.absent:
        bottom = f"{_TO}{part.id}:{bottom}"
    plain = row.get("name") or part.id.replace("-", " ").capitalize()
    styled = {"body-ground": "body_name", UNKNOWN: "unknown_name"}.get(coil, "name")
    symbol = row.get("symbol") or _SYMBOLS[part.kind]
    if symbol == "plug" and (not part.at_plug or (coil == UNKNOWN and "unknown_name" in row)):
        symbol = "joint"
    return Drawn(
        part.id, str(row.get(styled, plain)), symbol, top, bottom, *cell,
        str(row.get("frame", "")), part.operated_by, part.absent,
    )  # fmt: skip


def _point(node: str, rows: Mapping[str, Json], coil: str) -> Point:
    if node.startswith(_UNKNOWN_END):
        return Point(node, "By control type", "a point that depends on the control type", "", "")
    for start in (_FROM, _TO):
        if node.startswith(start):
            far = _point(node.rsplit(":", 1)[1], rows, coil)
            return Point(node, f"{start.rstrip(':')} {far.label}", far.touches, "", "")
    row = rows.get(node, {})
    plain = node.replace("-", " ").capitalize()
    touches = row.get("touches", plain.lower())
    styled = {"body-ground": "body_touches", UNKNOWN: "unknown_touches"}.get(coil, "touches")
    return Point(
        node, row.get("label", plain), row.get(styled, touches), row.get("anchor", ""),
        row.get("path", ""),
    )  # fmt: skip


def _unknowns(circuits: Sequence[items.Circuit], coil: str) -> tuple[str, ...]:
    """Return a sentence for each thing that is not known about the circuit."""
    said = []
    if len(circuits) > 1:
        said.append(
            "Control type not known: only what every control type has is drawn. What feeds the "
            "relay coil and the hold wire is left out."
        )
    if coil == UNKNOWN:
        said.append(
            "Coil style not known: the ground is either a pin of the plug (case-ground) or the "
            "body under its mounting bolt (body-ground). Find out which before you measure it."
        )
    return tuple(said)
