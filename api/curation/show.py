"""One item of the knowledge base as a page of text."""

from collections.abc import Iterator, Sequence

from api.answers.text import Line, Section
from api.curation.facts import Page, cell
from api.curation.phrases import Phrase
from api.curation.predictions import OnCircuit, Rival, Shown
from engine.knowledge import items

MOST_ROWS = 10


def sections(page: Page, whole: bool = False) -> list[Section]:
    """Return the page in sections; ``whole`` leaves no row of a table out."""
    head = Section(f"{page.title} ({page.kind[:-1]} {page.id})", list(_head(page)))
    found = [head, *_BODIES[page.kind](page)]
    found += [_table(page, one, whole) for one in page.tables]
    found += [_taken_for(one) for one in page.tables if one.rivals]
    if page.rules:
        words = "Rules that use its conclusions" if page.kind == "rules" else "Rules about it"
        found.append(Section(words, [Line(f"{name}: {title}", "-") for name, title in page.rules]))
    if page.cautions:
        found.append(Section("Cautions", [Line(text, "!") for text in page.cautions]))
    return [section for section in found if section.lines]


def _head(page: Page) -> Iterator[Line]:
    yield Line(f"File: {page.file}")
    if page.where:
        yield Line(f"Applies to: {page.where}")
    if hasattr(page.item, "raw") and page.item.raw.get("source"):
        yield Line(f"Source: {' '.join(str(page.item.raw['source']).split())}")


def _cause(page: Page) -> list[Section]:
    cause: items.Cause = page.item
    return [
        Section("What it is", [
            Line(cause.looks_like),
            Line(f"Section {cause.section}, share {cause.share:g}, {cause.minutes:g} min to mend."),
            Line(f"States: {', '.join(state.id for state in cause.states)}."),
        ]),
        Section("Remedy", [Line(cause.remedy), Line(f"Proof of repair: {cause.proof_of_repair}")]),
        Section("Confirmed by", [Line(check, "-") for check in cause.confirmed_by]),
    ]  # fmt: skip


def _check(page: Page) -> list[Section]:
    check: items.Check = page.item
    how = [Line(f"Kind {check.kind}, {check.minutes:g} min. {check.why}")]
    how += [Line(f"Say: {check.say}"), Line(f"Do: {check.how}")]
    found = [Section("What it is", how)]
    if check.outcomes is not None:
        names = check.outcomes.names
        lines = [Line(f"{name}: {check.outcomes.words[name]}", "-") for name in names]
        found.append(Section("Outcomes", lines))
    elif check.reading is not None:
        one = check.reading
        text = (
            f"A {one.quantity} in {one.unit}, from {one.low:g} to {one.high:g}, phase {one.phase}."
        )
        found.append(Section("Reading", [Line(text)]))
    confirms = [Line(cause, "-") for cause in page.confirms]
    return [*found, Section("Confirms", confirms)]


def _rule(page: Page) -> list[Section]:
    rule: items.Rule = page.item
    because = [rule.because.found, rule.because.points, rule.because.next]
    return [
        Section(f"When (family {rule.family}; all of these)", list(_phrases(page.when))),
        Section("Then", list(_phrases(page.then))),
        Section("What it says", [Line(text) for text in because]),
    ]


def _phrases(phrases: Sequence[Phrase]) -> Iterator[Line]:
    for phrase in phrases:
        for depth, text in phrase.lines():
            yield Line(text, "-", depth)


def _circuit(page: Page) -> list[Section]:
    circuit: items.Circuit = page.item
    parts = [
        Line(f"{part.id}: {' to '.join(part.between)}, {_value(part)}", "-")
        for part in circuit.parts.values()
    ]
    phases = [
        Line(f"{phase.id}: at {phase.moment}, made: {', '.join(phase.made) or 'nothing'}", "-")
        for phase in circuit.phases.values()
    ]
    has = [Section(f"Its {kind}", [Line(", ".join(ids))]) for kind, ids in page.has.items()]
    return [Section("Parts (12 V)", parts), Section("Phases", phases), *has]


def _value(part: items.Part) -> str:
    if part.absent:
        return "not there unless a cause puts it there"
    volts = f"{part.volts:g} V, " if part.volts else ""
    return f"{volts}{part.ohms:g} ohm, tolerance {100 * part.tolerance:g} %"


def _rows(page: Page) -> list[Section]:
    lines = [
        Line("; ".join(f"{key} {cell(value)}" for key, value in row.items()), "-")
        for row in page.item.rows
    ]
    return [Section("Rows", lines)]


_BODIES = {
    "causes": _cause,
    "checks": _check,
    "rules": _rule,
    "circuits": _circuit,
    "tables": _rows,
}


def _table(page: Page, table: OnCircuit, whole: bool) -> Section:
    rows = list(table.rows if whole else table.rows[:MOST_ROWS])
    lines = [Line(f"Healthy: {table.healthy}.")] if table.healthy else []
    lines += [Line(_row(page, row), "-") for row in rows]
    left = len(table.rows) - len(rows)
    lines += [Line(f"and {left} more (--all shows them)", "-")] if left else []
    if not table.rows:
        lines.append(Line("No check shows anything of it here: it is found by exclusion."))
    return Section(f"On {table.circuit} ({' and '.join(table.coils)}, 12 V)", lines)


def _row(page: Page, row: Shown) -> str:
    if page.kind == "checks":
        return f"{row.mine}: {', '.join(row.causes)} ({row.decibans:.0f} dB)"
    return f"{row.check}: {row.mine}; healthy {row.other} ({row.decibans:.0f} dB)"


def _taken_for(table: OnCircuit) -> Section:
    lines = [Line(_rival(one), "-") for one in table.rivals]
    return Section(f"Taken for, on {table.circuit} ({' and '.join(table.coils)})", lines)


def _rival(one: Rival) -> str:
    if not one.told_apart:
        why = one.reason or "no reason is declared"
        return f"{one.cause}: no check tells them apart. {why}"
    best = one.by[0]
    return (
        f"{one.cause}: {best.check} tells them apart ({best.decibans:.0f} dB): {best.mine}, "
        f"against {best.other}"
    )
