"""What the drawing says in words: labels at parts and points, the lists below, the description."""

from api.drawing.diagram import Diagram, Drawn, Point
from api.drawing.marks import Marks, ProbeMark
from api.drawing.sheet import Label
from api.strict_json import Json


def part_labels(part: Drawn, marks: Marks) -> list[Label]:
    """Return what stands beside a part."""
    tags, probe = marks.tags(part.id), marks.probe
    found = [Label(part.name), *(Label(tag, "suspect", "suspect") for tag in tags)]
    if part.id in marks.good and not tags:
        found.append(Label("good", "good", "good"))
    found += [Label(line, "soft") for line in marks.at_parts.get(part.id, ())]
    if probe is not None and probe.part == part.id:
        words, mark = ("clamp here", "clamp") if probe.phase else ("look or try here", "look")
        found += [Label(words, "probe", mark), *_expected(probe)]
    return found


def point_labels(point: Point, marks: Marks) -> list[Label]:
    """Return what stands at a point."""
    found = [Label(point.label, "name")]
    found += [Label(line, "soft") for line in marks.at_points.get(point.id, ())]
    probe = marks.probe
    if probe is not None and point.id == probe.red:
        found += [Label("red lead +", "probe"), *_expected(probe)]
    elif probe is not None and point.id == probe.black:
        found.append(Label("black lead", "probe"))
    return found


def _expected(probe: ProbeMark) -> list[Label]:
    """Return what the next reading would be; outcomes in sentences stand in the list below."""
    return [Label(line, "soft") for line in probe.expected if probe.phase]


def heading(diagram: Diagram, machine: Json, above: str) -> list[Label]:
    """Return the lines above the drawing."""
    names = " or: ".join(circuit.name for circuit in diagram.circuits)
    styles = {name: one.name for circuit in diagram.circuits for name, one in circuit.coils.items()}
    coil = styles.get(diagram.coil, "coil style not known")
    volts = machine.get("system_volts")
    what = f"{coil[:1].upper()}{coil[1:]}{f', {volts} V' if volts else ''}."
    said = [Label(above, "head")] if above else []
    return [*said, Label(f"{names}.", "head"), Label(what), *map(Label, diagram.unknowns)]


def probe_list(diagram: Diagram, marks: Marks) -> list[Label]:
    """Return where to measure now, or what to do instead."""
    probe = marks.probe
    if probe is None:
        if not marks.instead:
            return []
        return [Label("No check to do now", "head"), Label(marks.instead)]
    place = diagram.names.get(probe.part, probe.part).lower()
    if probe.part and probe.phase:
        said = [Label(f"Clamp meter around: {place}", "plain", "clamp")]
    elif probe.phase:
        said = [
            Label(f"Red lead +: {diagram.touches(probe.red)}", "plain", "red"),
            Label(f"Black lead: {diagram.touches(probe.black)}", "plain", "black"),
        ]
    else:
        said = [Label(f"At: {place}", "plain", "look")] if probe.part in diagram.names else []
    if probe.phase:
        said.append(Label(f"{_sentence(probe.plug)}, {diagram.moments(probe.phase)}."))
    expected = [Label(_sentence(line)) for line in probe.expected]
    return [Label(f"Next check: {probe.name}", "head"), *said, *expected]


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


def suspect_list(diagram: Diagram, marks: Marks) -> list[Label]:
    """Return the suspects with their numbers, and which of them are not in the drawing."""
    found = [Label("Suspects", "head")]
    for one in marks.suspects:
        drawn = any(part in diagram.names for part in one.parts)
        where = "" if drawn else f" (not in {'this drawing' if one.parts else 'the wiring'})"
        found.append(Label(f"{one.tag}: {one.name}{where}", "suspect", "suspect"))
    return found if marks.suspects else []


def key(marks: Marks) -> list[Label]:
    """Return what the lines and marks mean, as far as they occur."""
    found = [
        Label("Thick line: pull path. Thin line: hold and command. Numbers: terminals.", "soft")
    ]
    if marks.good:
        found.append(Label("proven good by what was found: solid, broad line", "good", "good"))
    if marks.suspects:
        found.append(Label("suspect, and how likely: dashed outline", "suspect", "suspect"))
    return found
