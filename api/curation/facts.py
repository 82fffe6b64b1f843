"""What a page tells of one item: the same for a terminal and for the generated reference."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from api.curation import phrases
from api.curation.phrases import Phrase
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
    when: tuple[Phrase, ...] = ()
    then: tuple[Phrase, ...] = ()
    confirms: tuple[str, ...] = ()
    has: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    columns: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """Return what the item is called."""
        return title_of(self.item)


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
    item = shelf(survey.knowledge, kind)[name]
    chosen = shown_machines(survey.knowledge) if shown is None else shown
    return _MAKERS[kind](survey, item, chosen)


def _cause(survey: Survey, cause: items.Cause, shown: Sequence[Machine]) -> Page:
    knowledge = survey.knowledge
    where = _where(knowledge, cause, shown)
    return Page(
        "causes", cause, where=_applies(cause), rules=mentions(knowledge, cause.id),
        cautions=cautions_of(knowledge, cause, where),
        tables=tuple(of_cause(survey, cause.id, where)),
    )  # fmt: skip


def _check(survey: Survey, check: items.Check, shown: Sequence[Machine]) -> Page:
    knowledge = survey.knowledge
    where = _where(knowledge, check, shown)
    confirms = [one.id for one in knowledge.causes.values() if check.id in one.confirmed_by]
    return Page(
        "checks", check, where=_applies(check), rules=mentions(knowledge, check.id),
        cautions=cautions_of(knowledge, check, where),
        tables=tuple(of_check(survey, check.id, where)), confirms=tuple(confirms),
    )  # fmt: skip


def _applies(item: items.Cause | items.Check) -> str:
    return phrases.applies([one.stated() for one in item.applies])


def _rule(survey: Survey, rule: items.Rule, shown: Sequence[Machine]) -> Page:
    programs, rules = survey.knowledge.programs, survey.knowledge.rules
    facts = set(programs[rule.id].concludes)
    users = [
        (name, rules[name].title)
        for name, program in programs.items()
        if facts
        and any(isinstance(one, ConcludedTest) and one.fact in facts for one in program.walk())
    ]
    return Page(
        "rules", rule, rules=tuple(users), when=tuple(map(phrases.condition, rule.when)),
        then=tuple(map(phrases.action, rule.then)),
    )  # fmt: skip


def _circuit(survey: Survey, circuit: items.Circuit, shown: Sequence[Machine]) -> Page:
    knowledge = survey.knowledge
    has = {
        kind: tuple(
            one.id
            for one in shelf(knowledge, kind).values()
            if applies(one.applies, circuit=circuit)
        )
        for kind in ("causes", "checks")
    }
    where = f"{circuit.duty}, {circuit.control}"
    return Page("circuits", circuit, where=where, has=has)


def _table(survey: Survey, table: items.Table, shown: Sequence[Machine]) -> Page:
    columns = dict.fromkeys(key for row in table.rows for key in row)
    return Page("tables", table, columns=tuple(columns))


_MAKERS: Mapping[str, Callable[[Survey, Any, Sequence[Machine]], Page]] = {
    "causes": _cause,
    "checks": _check,
    "rules": _rule,
    "circuits": _circuit,
    "tables": _table,
}


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
