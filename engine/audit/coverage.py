"""Whole-base faults that need the solved circuits: what nothing confirms, separates or declares."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from engine.audit.groups import LOOK_ALIKES, LookAlike, look_alikes
from engine.audit.separation import TOLD_APART_DB, Separation, Survey, circuit_of, machine_words
from engine.knowledge import Fault, Knowledge, items
from engine.knowledge.faults import unknown
from engine.knowledge.rule_language import FindingTest
from engine.physics.model import HEALTHY

SLIGHT_DB = 1.0  # judgement: a check that never says so much about any two causes says nothing
BY_EXCLUSION = 0.5  # share of all causes from which checks must tell one that lies elsewhere
STALE_DB = 1.0  # a declared pair may come this far over the limit before its row is called stale


def coverage_faults(survey: Survey) -> Iterator[Fault]:
    """Yield causes without confirmation, checks without use, look-alikes without a reason."""
    separations = survey.all()
    yield from _cause_faults(survey.knowledge, separations)
    yield from _check_faults(survey.knowledge, separations)
    yield from _pair_faults(survey.knowledge, separations)
    yield from row_faults(survey.knowledge, separations)


def _cause_faults(knowledge: Knowledge, separations: Sequence[Separation]) -> Iterator[Fault]:
    """Yield a fault for each cause that none of its own checks confirms on some machine."""
    for cause in knowledge.causes.values():
        if not any(state.changes for state in cause.states):
            continue  # it leaves the circuit as built: no reading can show it
        weak = [one for one in separations if cause.id in one.causes and not confirmed(one, cause)]
        if weak:
            yield Fault(f"{cause.file}: confirmed_by", _unconfirmed(knowledge, cause, weak))


def confirmed(separation: Separation, cause: items.Cause) -> bool:
    """Return whether a check that the cause names confirms it on the machine.

    It must tell the cause from a healthy circuit. A cause outside the circuit is confirmed too by
    checks that together tell it from its nearest rival, or from half of all causes.
    """
    named = [n for n, name in enumerate(separation.checks) if name in cause.confirmed_by]
    if not named:
        return False
    mine = separation.causes.index(cause.id)
    told = separation.decibans[named, mine].max(axis=0) >= TOLD_APART_DB
    if bool(told[separation.causes.index(reference(separation, cause.id))]):
        return True
    if cause.section != "outside":
        return False
    nearest = separation.rivals(cause.id)[0][0]
    return bool(told[separation.causes.index(nearest)]) or float(told.mean()) >= BY_EXCLUSION


def reference(separation: Separation, cause: str) -> str:
    """Return what a cause is held against: the healthy circuit, else its nearest rival."""
    return HEALTHY if HEALTHY in separation.causes else separation.rivals(cause)[0][0]


def _unconfirmed(knowledge: Knowledge, cause: items.Cause, weak: Sequence[Separation]) -> str:
    where = machine_words(knowledge, [one.machine for one in weak])
    first = weak[0]
    against = reference(first, cause.id)
    would = [name for name, value in first.ranked(cause.id, against) if value >= TOLD_APART_DB]
    hint = f"; {', '.join(would[:3])} would" if would else "; nor does any other check"
    return (
        f"no check named here tells it from '{against}' on {where} by {TOLD_APART_DB:g} "
        f"decibans{hint}"
    )


def _check_faults(knowledge: Knowledge, separations: Sequence[Separation]) -> Iterator[Fault]:
    """Yield a fault for each check that separates no two causes and that no rule asks about."""
    most: dict[str, float] = {}
    for one in separations:
        for name, table in zip(one.checks, one.decibans, strict=True):
            most[name] = max(most.get(name, 0.0), float(table.max()))
    asked = {
        name
        for program in knowledge.programs.values()
        for test in program.walk()
        if isinstance(test, FindingTest)
        for name in test.checks
    }
    for name, value in most.items():
        if value < SLIGHT_DB and name not in asked:
            yield Fault(
                f"{knowledge.checks[name].file}: predicted_by",
                f"separates nothing: at most {value:.1f} decibans between any two causes of any "
                "circuit, and no rule asks about it",
            )


def _pair_faults(knowledge: Knowledge, separations: Sequence[Separation]) -> Iterator[Fault]:
    """Yield a fault for each pair that no check tells apart and no row declares.

    It stands in the file that a shop added where one of the two is its own.
    """
    declared = look_alikes(knowledge)
    found: dict[tuple[str, str], list[Separation]] = {}
    for one in separations:
        circuit = circuit_of(knowledge, one.machine).id
        for pair in one.alike():
            if not any(row.covers(pair, circuit) for row in declared):
                found.setdefault(pair, []).append(one)
    for pair, alike in found.items():
        mine, other = sorted(pair, key=lambda one: knowledge.causes[one].file.startswith("kb/"))
        best = (one.ranked(*pair)[0] for one in alike)
        check, value = max(best, key=lambda one: one[1])
        where = machine_words(knowledge, [one.machine for one in alike])
        yield Fault(
            f"{knowledge.causes[mine].file}: states",
            f"no check tells it from '{other}' on {where}: the best, {check}, gives {value:.1f} of "
            f"{TOLD_APART_DB:g} decibans; add a check, or declare both in {LOOK_ALIKES} with the "
            "reason",
        )


def row_faults(knowledge: Knowledge, separations: Sequence[Separation]) -> Iterator[Fault]:
    """Yield faults of the declared rows: ids, reasons, and rows that no longer hold."""
    for number, row in enumerate(look_alikes(knowledge)):
        table = knowledge.tables[LOOK_ALIKES]
        path = f"{table.file}: rows[{number}]"
        wrong = [*_row_shape_faults(path, table.rows[number], row), *_row_ids(path, row, knowledge)]
        yield from wrong
        if not wrong and not any(_holds(knowledge, one, row) for one in separations):
            yield Fault(f"{path}.causes", "checks tell all of these apart now; the row can go")


def _row_shape_faults(path: str, raw: Mapping[str, object], row: LookAlike) -> list[Fault]:
    known = ("id", "causes", "circuits", "reason", "told_apart_by")
    faults = [Fault(f"{path}.{key}", unknown("key", key, known)) for key in raw if key not in known]
    if len(row.causes) < 2:
        faults.append(Fault(f"{path}.causes", "names two causes or more, as a list"))
    if not row.reason:
        faults.append(Fault(f"{path}.reason", "is missing: say why they cannot be told apart"))
    return faults


def _row_ids(path: str, row: LookAlike, knowledge: Knowledge) -> list[Fault]:
    used: list[tuple[str, str, Iterable[str], Iterable[str]]] = [
        ("causes", "cause", row.causes, knowledge.causes),
        ("circuits", "circuit", row.circuits, knowledge.circuits),
        ("told_apart_by", "check", row.told_apart_by, knowledge.checks),
    ]
    return [
        Fault(f"{path}.{key}", unknown(kind, one, known))
        for key, kind, ids, known in used
        for one in ids
        if one not in known
    ]


def _holds(knowledge: Knowledge, separation: Separation, row: LookAlike) -> bool:
    """Return whether some two causes of a row are still alike, or nearly, on a machine."""
    circuit = circuit_of(knowledge, separation.machine).id
    alike = separation.alike(below=TOLD_APART_DB + STALE_DB)
    return any(row.covers(pair, circuit) for pair in alike)
