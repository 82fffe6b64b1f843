"""Third layer of checking: the whole base. Every id used exists, nothing dangles, nothing is dead.

What needs the solved circuits (a check that separates nothing, causes that nothing tells apart) is
in engine.audit; here stands what can be seen from the files alone.
"""

import math
import string
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING

from engine.knowledge import items
from engine.knowledge.faults import Code, Fault, in_file, unknown
from engine.knowledge.items import applies
from engine.knowledge.rule_language import BeliefTest, ConcludedTest, FindingTest
from engine.knowledge.rule_layers import NegationCycleError, layers

if TYPE_CHECKING:
    from engine.knowledge.load import Knowledge

# Tables that the engine reads by id, and the numbers that each of their rows must have.
READ_TABLES: Mapping[str, tuple[str, ...]] = {
    "circumstances": (),
    "instruments": ("percent", "counts", "resolution"),
    "effort": ("minutes",),
    "advice": ("value",),
    "come-and-go": ("share",),
    "trained-hands": (),
    "killers": (),
}
NEEDED_ROWS = {
    "advice": [one.name.replace("_", "-") for one in fields(items.Thresholds)],
    "come-and-go": ["found", "provoked"],
}
NEEDED_CAUSES = ("healthy", "outside")
PLACEHOLDERS = ("when", "ground_point", "volts", "moment", "listen", "hold_when")


def cross_faults(knowledge: "Knowledge") -> Iterator[Fault]:
    """Yield every fault of the whole base, unsorted."""
    for circuit in knowledge.circuits.values():
        yield from _circuit_faults(circuit)
        yield from _build_faults(circuit, knowledge.checks)
    if not knowledge.circuits:
        yield in_file("kb/circuits", "", "there is no circuit", Code.MISSING_ITEM)
        return
    table_faults = list(_table_faults(knowledge))
    yield from table_faults
    if table_faults:  # the rest looks things up in them
        return
    for name in NEEDED_CAUSES:
        if name not in knowledge.causes:
            message = "is missing: every answer weighs it"
            yield in_file(f"kb/causes/{name}.yaml", "", message, Code.MISSING_ITEM)
    for cause in knowledge.causes.values():
        yield from _cause_faults(cause, knowledge)
    for check in knowledge.checks.values():
        yield from _check_faults(check, knowledge)
    yield from _rule_faults(knowledge)
    for words in knowledge.words.values():
        yield from _words_faults(words, knowledge)
    yield from _said_twice(knowledge)


def _ids(
    file: str, path: str, kind: str, used: Iterable[str], known: Iterable[str]
) -> Iterator[Fault]:
    known = list(known)
    return (in_file(file, path, unknown(kind, one, known)) for one in used if one not in known)


def _table_faults(knowledge: "Knowledge") -> Iterator[Fault]:
    """Yield faults of the tables that the engine looks things up in."""
    for name, numbers in READ_TABLES.items():
        table = knowledge.tables.get(name)
        if table is None:
            message = "is missing: the engine reads it"
            yield in_file(f"kb/tables/{name}.yaml", "", message, Code.MISSING_ITEM)
            continue
        for place, row in enumerate(table.rows):
            path = f"rows[{place}]"
            if not isinstance(row.get("id"), str):
                yield in_file(table.file, f"{path}.id", "must be text", Code.WRONG_TYPE)
            for key in numbers:
                value, most = row.get(key), 1.0 if key == "share" else math.inf
                is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
                if not is_number or not 0 <= float(value or 0) <= most:
                    message = "must be a number, not negative"
                    message += ", not above 1" if key == "share" else ""
                    yield in_file(table.file, f"{path}.{key}", message, Code.WRONG_TYPE)
        there = [row.get("id") for row in table.rows]
        for one in NEEDED_ROWS.get(name, ()):
            if one not in there:
                message = f"lacks '{one}': the engine reads it"
                yield in_file(table.file, "rows", message, Code.MISSING_ITEM)


def _circuit_faults(circuit: items.Circuit) -> Iterator[Fault]:
    full = circuit.with_coil(*items.COILS)
    coils = [one.between for one in full.parts.values()]
    for part in full.parts.values():
        yield from _part_faults(circuit, part, "parts")
        if part.operated_by is not None and part.operated_by not in coils:
            message = "no part lies between these nodes: the contact has no coil"
            yield in_file(circuit.file, f"parts.{part.id}.operated_by", message)
    switched = [part.id for part in circuit.parts.values() if part.switched]
    for phase in circuit.phases.values():
        path = f"phases.{phase.id}.made"
        yield from _ids(circuit.file, path, "switched part", phase.made, switched)
    for style, coil in circuit.coils.items():
        nodes = [node for node in coil.probe.values() if node != items.NOWHERE]
        yield from _ids(circuit.file, f"coils.{style}.probe", "node", nodes, circuit.nodes)
    for name in items.PHASES:
        if name not in circuit.phases:
            yield in_file(circuit.file, "phases", f"lacks '{name}'")


def _part_faults(circuit: items.Circuit, part: items.Part, place: str) -> Iterator[Fault]:
    """Yield faults for nodes of a part that the circuit does not have."""
    nodes = [*part.between, *(part.operated_by or ())]
    nodes += [node for need in part.needs for node in (need.node, need.across)]
    return _ids(circuit.file, f"{place}.{part.id}", "node", nodes, circuit.nodes)


def _build_faults(circuit: items.Circuit, checks: Iterable[str]) -> Iterator[Fault]:
    """Yield faults of what is built otherwise on some machines: no such part, node or check."""
    file, chopping, low = circuit.file, circuit.chopping, circuit.switched_low
    if chopping:
        outputs = [part.id for part in circuit.parts.values() if part.switched]
        yield from _ids(file, "chopping.part", "switched part", [chopping.part], outputs)
        yield from _ids(file, "chopping.shown_by", "check", chopping.shown_by, checks)
    if low:
        yield from _ids(file, "switched_low.parts", "part", low.parts, circuit.parts)
        yield from _ids(file, "switched_low.shown_by", "check", low.shown_by, checks)
        for part in low.parts.values():
            yield from _part_faults(circuit, part, "switched_low.parts")


def _cause_faults(cause: items.Cause, knowledge: "Knowledge") -> Iterator[Fault]:
    yield from _ids(cause.file, "confirmed_by", "check", cause.confirmed_by, knowledge.checks)
    if cause.section != "outside" and not cause.confirmed_by:
        yield in_file(cause.file, "confirmed_by", "names no check that confirms it")
    circuits = [c for c in knowledge.circuits.values() if applies(cause.applies, circuit=c)]
    if not circuits:
        yield in_file(cause.file, "applies", "holds for no circuit")
    for number, state in enumerate(cause.states):
        for place, change in enumerate(state.changes):
            path = f"states[{number}].changes[{place}]"
            for circuit in circuits:
                full = circuit.with_coil("case-ground")
                known = full.parts if change.target == "part" else full.settings
                yield from _ids(cause.file, path, change.target, [change.id], known)


def _check_faults(check: items.Check, knowledge: "Knowledge") -> Iterator[Fault]:
    circuits = [c for c in knowledge.circuits.values() if applies(check.applies, circuit=c)]
    if not circuits:
        yield in_file(check.file, "applies", "holds for no circuit")
    for text in ("say", "how", "why"):
        try:
            braces = list(string.Formatter().parse(getattr(check, text)))
        except ValueError as error:
            yield in_file(check.file, text, f"braces do not pair up: {error}")
            continue
        names = [name for _, name, _, _ in braces if name is not None]
        yield from _ids(check.file, text, "placeholder", names, PLACEHOLDERS)
    if check.reading is not None:
        nodes = [*check.reading.from_node.values(), *check.reading.to_node.values()]
        parts = [check.reading.part] if check.reading.part else []
        for circuit in circuits:
            yield from _ids(check.file, "predicted_by", "node", nodes, circuit.nodes)
            yield from _ids(check.file, "predicted_by.part", "part", parts, circuit.parts)
        used, known = [check.reading.instrument], knowledge.rows("instruments")
        yield from _ids(check.file, "instrument", "instrument", used, known)
    if check.outcomes is not None:
        yield from _outcome_faults(check, check.outcomes, knowledge)


def _outcome_faults(
    check: items.Check, outcomes: items.Outcomes, knowledge: "Knowledge"
) -> Iterator[Fault]:
    states = [f"{c.id}/{state.id}" for c in knowledge.causes.values() for state in c.states]
    known = sorted([*knowledge.causes, *states])
    yield from _ids(check.file, "predicted_by.given", "cause", outcomes.given, known)
    for tree in [*outcomes.given.values(), outcomes.tree]:
        for leaf in _leaves(tree):
            yield from _ids(check.file, "predicted_by", "outcome", leaf, outcomes.names)
    yield from _ids(check.file, "outcome_words", "outcome", outcomes.words, outcomes.names)
    for name in outcomes.names:
        if name not in outcomes.words:
            yield in_file(check.file, "outcome_words", f"lacks words for '{name}'")


def _leaves(tree: "items.Branch | items.Distribution") -> Iterator[items.Distribution]:
    if isinstance(tree, items.Branch):
        yield from _leaves(tree.then)
        yield from _leaves(tree.otherwise)
    else:
        yield tree


def _rule_faults(knowledge: "Knowledge") -> Iterator[Fault]:
    concluded = {fact for program in knowledge.programs.values() for fact in program.concludes}
    for rule in knowledge.rules.values():
        yield from _one_rule_faults(rule, knowledge, concluded)
        yield from _twice_faults(rule, knowledge)
    try:
        layers(knowledge.rules, knowledge.programs)
    except NegationCycleError as error:
        yield in_file(knowledge.rules[error.rule].file, "when", str(error))


def _twice_faults(rule: items.Rule, knowledge: "Knowledge") -> Iterator[Fault]:
    """Yield a fault for each cause that a rule shifts and its findings' tables weigh already.

    Only the rule's own tests are looked at; for what stands behind conclusions the engine leaves
    the shift out when the case is at hand (engine.reasoning.effects.effects_of).
    """
    tests = list(knowledge.programs[rule.id].walk())
    concluded = any(isinstance(test, ConcludedTest) and test.wanted for test in tests)
    own = {
        name
        for test in tests
        if isinstance(test, FindingTest) and not test.absent
        for name in test.checks
    }
    shifted = [cause for act in knowledge.programs[rule.id].actions for cause, _ in act.factors]
    for name in sorted(own) if shifted else ():
        check = knowledge.checks.get(name)
        if check is None or check.outcomes is None:
            continue
        weighed = {row.split("/")[0] for row in check.outcomes.given}
        if isinstance(check.outcomes.tree, items.Branch) and own == {name} and not concluded:
            weighed = set(shifted)  # nothing but what the circuit predicts under every cause
        for cause in shifted:
            if cause in weighed:
                message = f"counts twice: '{name}' already weighs this cause"
                yield in_file(rule.file, f"then.shift.{cause}", message)


# the actions that are about checks, and those about causes
_ABOUT_CHECKS = ("set_aside", "weaken", "drop_checks", "ask_first")
_ABOUT_CAUSES = ("drop_causes", "clears", "look_behind")


def _one_rule_faults(
    rule: items.Rule, knowledge: "Knowledge", concluded: Iterable[str]
) -> Iterator[Fault]:
    for test in knowledge.programs[rule.id].walk():
        if isinstance(test, FindingTest):
            yield from _ids(rule.file, "when", "check", test.checks, knowledge.checks)
            yield from _test_faults(rule, test, knowledge)
        elif isinstance(test, ConcludedTest):
            yield from _ids(rule.file, "when", "conclusion", [test.fact], sorted(concluded))
        elif isinstance(test, BeliefTest):
            yield from _ids(rule.file, "when", "cause", [test.cause], knowledge.causes)
    for act in knowledge.programs[rule.id].actions:
        path = f"then.{act.kind}"
        checks = [*act.before, *(act.about if act.kind in _ABOUT_CHECKS else ())]
        causes = [*(act.about if act.kind in _ABOUT_CAUSES else ()), *act.roots]
        causes += [cause for cause, _ in act.factors]
        yield from _ids(rule.file, path, "check", checks, knowledge.checks)
        yield from _ids(rule.file, path, "cause", causes, knowledge.causes)


def _test_faults(rule: items.Rule, test: FindingTest, knowledge: "Knowledge") -> Iterator[Fault]:
    """Yield faults of outcomes that a check does not have and numbers on outcome checks."""
    limits = (test.above, test.below, test.above_share, test.below_share)
    of_reading = test.reads or any(one is not None for one in limits)
    tags = [
        str(one.value) for one in test.attributes
        if one.name == "circumstances" and one.relation == "is"
    ]  # fmt: skip
    known: Iterable[str] = knowledge.rows("circumstances")
    yield from _ids(rule.file, "when.with", "circumstance", tags, known)
    for name in test.checks:
        check = knowledge.checks.get(name)
        if check is None:
            continue
        if check.outcomes is not None:
            known = (*check.outcomes.names, "not-known")
            yield from _ids(rule.file, f"when.{name}", "outcome", test.outcomes or (), known)
        elif test.outcomes not in (None, ("open",), ("not-known",)):
            yield in_file(rule.file, f"when.{name}", "is a reading: it has no outcomes")
        if check.reading is None and of_reading:
            yield in_file(rule.file, f"when.{name}", "is not a reading: it has outcomes")


def _words_faults(words: items.Words, knowledge: "Knowledge") -> Iterator[Fault]:
    """Yield faults for what phrases point to and is not there."""
    cautions = [rule.id for rule in knowledge.rules.values() if rule.family == "cautions"]
    for number, meaning in enumerate(words.meanings):
        place = f"meanings[{number}]"
        caution = [meaning.caution] if meaning.caution else []
        yield from _ids(words.file, f"{place}.caution", "caution", caution, cautions)
        yield from _ids(words.file, f"{place}.causes", "cause", meaning.causes, knowledge.causes)
        yield from _ids(words.file, f"{place}.checks", "check", meaning.checks, knowledge.checks)
        for row, one in enumerate(meaning.findings):
            path, check = f"{place}.findings[{row}]", knowledge.checks.get(one.check)
            yield from _ids(words.file, f"{path}.check", "check", [one.check], knowledge.checks)
            if check is not None and check.outcomes is None:
                yield in_file(words.file, path, "is a reading: it has no outcomes")
            elif check is not None and check.outcomes is not None:
                known = check.outcomes.names
                yield from _ids(words.file, f"{path}.outcome", "outcome", [one.outcome], known)


def _said_twice(knowledge: "Knowledge") -> Iterator[Fault]:
    """Yield a fault for each phrase whose very words stand elsewhere too."""
    seen: dict[tuple[str, tuple[frozenset[str], ...]], str] = {}
    for words in knowledge.words.values():
        for number, meaning in enumerate(words.meanings):
            for row, phrase in enumerate(meaning.phrases):
                path = f"meanings[{number}].phrases[{row}]"
                for duty in items.DUTIES if meaning.duty is None else (meaning.duty,):
                    first = seen.setdefault((duty, phrase.parts), f"{words.file}: {path}")
                    if first != f"{words.file}: {path}":
                        message = f"'{phrase.text}' has the words of {first}"
                        yield in_file(words.file, path, message)
