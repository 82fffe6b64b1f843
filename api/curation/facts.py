"""What a page tells of one item: the same for a terminal and for the generated reference."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from api.curation.predictions import OnCircuit, of_cause, of_check
from engine.audit.separation import Survey, machines
from engine.knowledge import Knowledge, items
from engine.knowledge.items import applies
from engine.knowledge.rule_language import BeliefTest, ConcludedTest, FindingTest
from engine.physics.machine import Machine
from engine.physics.model import variants_of
from engine.rules.cautions import Cautions, check_hazards, remedy_hazards
from engine.rules.views import CaseView

# kind, as folders have it -> the word for one of them
KINDS: Mapping[str, str] = {
    kind: kind[:-1] for kind in ("causes", "checks", "rules", "circuits", "tables")
}
SHOWN_VOLTS = 12


@dataclass(frozen=True)
class Page:
    """One item as a page: what every kind has, then what only some have."""

    kind: str
    item: Any
    where: str = ""
    rules: tuple[tuple[str, str], ...] = ()
    cautions: tuple[str, ...] = ()
    tables: tuple[OnCircuit, ...] = ()
    confirms: tuple[str, ...] = ()
    has: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """Return what the item is called."""
        return title_of(self.item)

    @property
    def columns(self) -> Sequence[str]:
        """Return the columns of a table."""
        return list(dict.fromkeys(key for row in self.item.rows for key in row))


def shelf(knowledge: Knowledge, kind: str) -> Mapping[str, Any]:
    """Return the items of a kind of KINDS, by id."""
    found: Mapping[str, Any] = getattr(knowledge, kind)
    return found


def title_of(item: Any) -> str:
    """Return what an item is called."""
    return str(getattr(item, "name", None) or getattr(item, "title", item.id))


def cell(value: Any) -> str:
    """Return a value of a table as one line of text."""
    if isinstance(value, list):
        return ", ".join(cell(one) for one in value)
    return " ".join(str(value).split())


def shown_machines(
    knowledge: Knowledge,
    circuits: Sequence[str] = (),
    coils: Sequence[str] = (),
    system_volts: int = SHOWN_VOLTS,
) -> list[Machine]:
    """Return the machines that pages show: the circuits and coil styles asked for."""
    wanted = [one for name, one in knowledge.circuits.items() if not circuits or name in circuits]
    pairs = {(one.duty, one.control) for one in wanted}
    every = machines(knowledge, (system_volts,), coils or items.COILS)
    return [one for one in every if (one.duty, one.control) in pairs]


def page(survey: Survey, kind: str, name: str, shown: Sequence[Machine] | None = None) -> Page:
    """Return the page of an item; ``shown`` limits the machines of its tables."""
    knowledge = survey.knowledge
    item = shelf(knowledge, kind)[name]
    if kind in ("causes", "checks"):
        where = _where(knowledge, item, shown_machines(knowledge) if shown is None else shown)
        tables = of_cause if kind == "causes" else of_check
        return Page(
            kind, item, _applies(item), mentions(knowledge, name),
            cautions_of(knowledge, item, where), tuple(tables(survey, name, where)),
            tuple(one.id for one in knowledge.causes.values() if name in one.confirmed_by),
        )  # fmt: skip
    if kind == "rules":
        return Page(kind, item, rules=_users(knowledge, name))
    if kind == "circuits":
        has = {
            had: tuple(n for n, one in shelf(knowledge, had).items()
                       if applies(one.applies, circuit=item))
            for had in ("causes", "checks")
        }  # fmt: skip
        return Page(kind, item, f"{item.duty}, {item.control}", has=has)
    return Page(kind, item)


def _applies(item: items.Cause | items.Check) -> str:
    """Return in words where something applies."""
    alternatives = [one.stated() for one in item.applies]
    if not all(alternatives):
        return "every machine"
    return "; or ".join(
        " and ".join(f"{key.replace('_', ' ')} {' or '.join(map(str, value))}"
                     for key, value in one.items())
        for one in alternatives
    )  # fmt: skip


def _users(knowledge: Knowledge, rule: str) -> tuple[tuple[str, str], ...]:
    """Return id and title of the rules that use what a rule concludes."""
    facts = set(knowledge.programs[rule].concludes)
    return tuple(
        (name, knowledge.rules[name].title)
        for name, program in knowledge.programs.items()
        if any(isinstance(one, ConcludedTest) and one.fact in facts for one in program.walk())
    )


def _where(
    knowledge: Knowledge, item: items.Cause | items.Check, shown: Sequence[Machine]
) -> list[Machine]:
    """Return the machines that can have a cause, or a check."""
    return [
        machine
        for machine in shown
        if any(
            applies(item.applies, circuit=one.circuit, coil=one.coil, system_volts=one.system_volts)
            for one in variants_of(knowledge, machine)
        )
    ]


def mentions(knowledge: Knowledge, wanted: str) -> tuple[tuple[str, str], ...]:
    """Return id and title of the rules that test, or act on, a cause or a check."""
    found = []
    for name, program in knowledge.programs.items():
        used: set[str] = set()
        for test in program.walk():
            used |= set(test.checks) if isinstance(test, FindingTest) else set()
            used |= {test.cause} if isinstance(test, BeliefTest) else set()
        for action in program.actions:
            used.update((*action.about, *action.roots, *action.before))
            used.update(name for name, _ in action.factors)
        if wanted in used:
            found.append((name, knowledge.rules[name].title))
    return tuple(found)


def cautions_of(
    knowledge: Knowledge, item: items.Cause | items.Check, shown: Sequence[Machine]
) -> tuple[str, ...]:
    """Return the cautions of a check, or of putting a cause right, on any of the machines."""
    cautions = Cautions(knowledge)
    said: dict[str, None] = {}
    for machine in _where(knowledge, item, shown):
        variants = variants_of(knowledge, machine)
        if isinstance(item, items.Cause):
            dangers = remedy_hazards(item, variants)
        else:
            dangers = check_hazards(item, variants)
        stated = {key: value for key, value in vars(machine).items() if value is not None}
        said.update(dict.fromkeys(cautions.for_step(dangers, CaseView(stated))))
    return tuple(said)
