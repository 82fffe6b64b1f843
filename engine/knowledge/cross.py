"""Third layer of checking: the whole base. Every id used exists, nothing dangles, nothing is dead.

What needs the solved circuits (a check that separates nothing, causes that nothing tells apart) is
in engine.audit; here stands what can be seen from the files alone.
"""

import math
import string
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from engine.knowledge import items
from engine.knowledge.faults import Code, Fault, in_file, unknown
from engine.knowledge.items import applies
from engine.knowledge.rule_language import BeliefTest, ConcludedTest, FindingTest, Program
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


def cross_faults(knowledge: "Knowledge") -> list[Fault]:
    """Return every fault of the whole base, unsorted."""
    faults: list[Fault] = []
    for circuit in knowledge.circuits.values():
        faults += _circuit_faults(circuit) + _build_faults(circuit, knowledge.checks)
    if not knowledge.circuits:
        return [in_file("kb/circuits", "", "there is no circuit", Code.MISSING_ITEM)]
    table_faults = _table_faults(knowledge)
    if table_faults:  # the rest looks things up in them
        return faults + table_faults
    for name in NEEDED_CAUSES:
        if name not in knowledge.causes:
            message = "is missing: every answer weighs it"
            faults.append(in_file(f"kb/causes/{name}.yaml", "", message, Code.MISSING_ITEM))
    for cause in knowledge.causes.values():
        faults += _cause_faults(cause, knowledge)
    for check in knowledge.checks.values():
        faults += _check_faults(check, knowledge)
    faults += _rule_faults(knowledge)
    for words in knowledge.words.values():
        faults += _words_faults(words, knowledge)
    return faults + _said_twice(knowledge)


def _ids(file: str, path: str, kind: str, used: Iterable[str], known: Iterable[str]) -> list[Fault]:
    known = list(known)
    return [in_file(file, path, unknown(kind, one, known)) for one in used if one not in known]


def _table_faults(knowledge: "Knowledge") -> list[Fault]:
    """Return faults of the tables that the engine looks things up in."""
    faults = []
    for name, numbers in READ_TABLES.items():
        table = knowledge.tables.get(name)
        if table is None:
            message = "is missing: the engine reads it"
            faults.append(in_file(f"kb/tables/{name}.yaml", "", message, Code.MISSING_ITEM))
            continue
        for place, row in enumerate(table.rows):
            path = f"rows[{place}]"
            if not isinstance(row.get("id"), str):
                faults.append(in_file(table.file, f"{path}.id", "must be text", Code.WRONG_TYPE))
            for key in numbers:
                value, most = row.get(key), 1.0 if key == "share" else math.inf
                is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
                if not is_number or not 0 <= float(value or 0) <= most:
                    message = "must be a number, not negative"
                    message += ", not above 1" if key == "share" else ""
                    faults.append(in_file(table.file, f"{path}.{key}", message, Code.WRONG_TYPE))
        there = [row.get("id") for row in table.rows]
        faults += [
            in_file(table.file, "rows", f"lacks '{one}': the engine reads it", Code.MISSING_ITEM)
            for one in NEEDED_ROWS.get(name, ()) if one not in there
        ]  # fmt: skip
    return faults


def _circuit_faults(circuit: items.Circuit) -> list[Fault]:
    faults: list[Fault] = []
    full = circuit.with_coil(*items.COILS)
    for part in full.parts.values():
        faults += _part_faults(circuit, part, "parts")
        coils = [one.between for one in full.parts.values()]
        if part.operated_by is not None and part.operated_by not in coils:
            message = "no part lies between these nodes: the contact has no coil"
            faults.append(in_file(circuit.file, f"parts.{part.id}.operated_by", message))
    for phase in circuit.phases.values():
        switched = [part.id for part in circuit.parts.values() if part.switched]
        path = f"phases.{phase.id}.made"
        faults += _ids(circuit.file, path, "switched part", phase.made, switched)
    for style, coil in circuit.coils.items():
        nodes = [node for node in coil.probe.values() if node != items.NOWHERE]
        faults += _ids(circuit.file, f"coils.{style}.probe", "node", nodes, circuit.nodes)
    missing = [phase for phase in items.PHASES if phase not in circuit.phases]
    faults += [in_file(circuit.file, "phases", f"lacks '{phase}'") for phase in missing]
    return faults


def _part_faults(circuit: items.Circuit, part: items.Part, place: str) -> list[Fault]:
    """Return faults for nodes of a part that the circuit does not have."""
    nodes = [*part.between, *(part.operated_by or ())]
    nodes += [node for need in part.needs for node in (need.node, need.across)]
    return _ids(circuit.file, f"{place}.{part.id}", "node", nodes, circuit.nodes)


def _build_faults(circuit: items.Circuit, checks: Iterable[str]) -> list[Fault]:
    """Return faults of what is built otherwise on some machines: no such part, node or check."""
    chopping, low = circuit.chopping, circuit.switched_low
    faults = []
    if chopping:
        outputs = [part.id for part in circuit.parts.values() if part.switched]
        faults += _ids(circuit.file, "chopping.part", "switched part", [chopping.part], outputs)
        faults += _ids(circuit.file, "chopping.shown_by", "check", chopping.shown_by, checks)
    if low:
        faults += _ids(circuit.file, "switched_low.parts", "part", low.parts, circuit.parts)
        faults += _ids(circuit.file, "switched_low.shown_by", "check", low.shown_by, checks)
        for part in low.parts.values():
            faults += _part_faults(circuit, part, "switched_low.parts")
    return faults


def _cause_faults(cause: items.Cause, knowledge: "Knowledge") -> list[Fault]:
    faults = _ids(cause.file, "confirmed_by", "check", cause.confirmed_by, knowledge.checks)
    if cause.section != "outside" and not cause.confirmed_by:
        faults.append(in_file(cause.file, "confirmed_by", "names no check that confirms it"))
    circuits = [c for c in knowledge.circuits.values() if applies(cause.applies, circuit=c)]
    if not circuits:
        faults.append(in_file(cause.file, "applies", "holds for no circuit"))
    for number, state in enumerate(cause.states):
        for place, change in enumerate(state.changes):
            path = f"states[{number}].changes[{place}]"
            for circuit in circuits:
                full = circuit.with_coil("case-ground")
                known = full.parts if change.target == "part" else full.settings
                faults += _ids(cause.file, path, change.target, [change.id], known)
    return faults


def _check_faults(check: items.Check, knowledge: "Knowledge") -> list[Fault]:
    faults: list[Fault] = []
    circuits = [c for c in knowledge.circuits.values() if applies(check.applies, circuit=c)]
    if not circuits:
        faults.append(in_file(check.file, "applies", "holds for no circuit"))
    for text in ("say", "how", "why"):
        faults += _placeholder_faults(check.file, text, getattr(check, text))
    if check.reading is not None:
        nodes = [*check.reading.from_node.values(), *check.reading.to_node.values()]
        for circuit in circuits:
            faults += _ids(check.file, "predicted_by", "node", nodes, circuit.nodes)
            parts = [check.reading.part] if check.reading.part else []
            faults += _ids(check.file, "predicted_by.part", "part", parts, circuit.parts)
        if "instruments" in knowledge.tables:
            known = knowledge.rows("instruments")
            faults += _ids(
                check.file, "instrument", "instrument", [check.reading.instrument], known
            )
    if check.outcomes is not None:
        faults += _outcome_faults(check, check.outcomes, knowledge)
    return faults


def _placeholder_faults(file: str, path: str, text: str) -> list[Fault]:
    try:
        names = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
    except ValueError as error:
        return [in_file(file, path, f"braces do not pair up: {error}")]
    return _ids(file, path, "placeholder", names, PLACEHOLDERS)


def _outcome_faults(
    check: items.Check, outcomes: items.Outcomes, knowledge: "Knowledge"
) -> list[Fault]:
    faults = []
    known = {
        *knowledge.causes,
        *(f"{c.id}/{state.id}" for c in knowledge.causes.values() for state in c.states),
    }
    faults += _ids(check.file, "predicted_by.given", "cause", outcomes.given, sorted(known))
    for tree in [*outcomes.given.values(), outcomes.tree]:
        for leaf in _leaves(tree):
            faults += _ids(check.file, "predicted_by", "outcome", leaf, outcomes.names)
    faults += _ids(check.file, "outcome_words", "outcome", outcomes.words, outcomes.names)
    lacking = [name for name in outcomes.names if name not in outcomes.words]
    faults += [in_file(check.file, "outcome_words", f"lacks words for '{n}'") for n in lacking]
    return faults


def _leaves(tree: "items.Branch | items.Distribution") -> Iterator[items.Distribution]:
    if isinstance(tree, items.Branch):
        yield from _leaves(tree.then)
        yield from _leaves(tree.otherwise)
    else:
        yield tree


def _rule_faults(knowledge: "Knowledge") -> list[Fault]:
    concluded = {fact for program in knowledge.programs.values() for fact in program.concludes}
    faults: list[Fault] = []
    for rule in knowledge.rules.values():
        faults += _one_rule_faults(rule, knowledge.programs[rule.id], knowledge, concluded)
        faults += _twice_faults(rule, knowledge)
    return faults + _cycle_faults(knowledge)


def _twice_faults(rule: items.Rule, knowledge: "Knowledge") -> list[Fault]:
    """Return a fault for each cause that a rule shifts and its findings' tables weigh already.

    Only the rule's own tests are looked at; for what stands behind conclusions the engine leaves
    the shift out when the case is at hand (engine.reasoning.effects.effects_of).
    """
    faults = []
    tests = list(knowledge.programs[rule.id].walk())
    concluded = any(isinstance(test, ConcludedTest) and test.wanted for test in tests)
    own = {
        name
        for test in tests
        if isinstance(test, FindingTest) and not test.absent
        for name in test.checks
    }
    for action in knowledge.programs[rule.id].actions:
        if action.kind != "shift":
            continue
        for name in sorted(own):
            check = knowledge.checks.get(name)
            if check is None or check.outcomes is None:
                continue
            weighed = {row.split("/")[0] for row in check.outcomes.given}
            if isinstance(check.outcomes.tree, items.Branch) and own == {name} and not concluded:
                # nothing but what the circuit predicts under every cause
                weighed = {cause for cause, _ in action.factors}
            for cause, _ in action.factors:
                if cause in weighed:
                    faults.append(
                        in_file(
                            rule.file,
                            f"then.shift.{cause}",
                            f"counts twice: '{name}' already weighs this cause",
                        )
                    )
    return faults


def _one_rule_faults(
    rule: items.Rule, program: Program, knowledge: "Knowledge", concluded: set[str]
) -> list[Fault]:
    faults: list[Fault] = []
    for test in program.walk():
        if isinstance(test, FindingTest):
            faults += _ids(rule.file, "when", "check", test.checks, knowledge.checks)
            faults += _test_faults(rule, test, knowledge)
        elif isinstance(test, ConcludedTest):
            faults += _ids(rule.file, "when", "conclusion", [test.fact], sorted(concluded))
        elif isinstance(test, BeliefTest):
            faults += _ids(rule.file, "when", "cause", [test.cause], knowledge.causes)
    kinds = {"set_aside": "check", "weaken": "check", "drop_checks": "check", "ask_first": "check",
             "drop_causes": "cause", "clears": "cause", "look_behind": "cause"}  # fmt: skip
    for action in program.actions:
        kind = kinds.get(action.kind)
        known: Mapping[str, Any] = knowledge.checks if kind == "check" else knowledge.causes
        if kind is not None:
            faults += _ids(rule.file, f"then.{action.kind}", kind, action.about, known)
        roots = [*action.roots, *(cause for cause, _ in action.factors)]
        faults += _ids(rule.file, f"then.{action.kind}", "cause", roots, knowledge.causes)
        faults += _ids(rule.file, f"then.{action.kind}", "check", action.before, knowledge.checks)
    return faults


def _test_faults(rule: items.Rule, test: FindingTest, knowledge: "Knowledge") -> list[Fault]:
    """Return faults of outcomes that a check does not have and numbers on outcome checks."""
    faults = []
    numeric = any(
        one is not None for one in (test.above, test.below, test.above_share, test.below_share)
    )
    tags = knowledge.rows("circumstances") if "circumstances" in knowledge.tables else None
    for attribute in test.attributes:
        if attribute.name == "circumstances" and attribute.relation == "is" and tags is not None:
            faults += _ids(rule.file, "when.with", "circumstance", [str(attribute.value)], tags)
    for name in test.checks:
        check = knowledge.checks.get(name)
        if check is None:
            continue
        if check.outcomes is not None:
            known = (*check.outcomes.names, "not-known")
            faults += _ids(rule.file, f"when.{name}", "outcome", test.outcomes or (), known)
        elif test.outcomes not in (None, ("open",), ("not-known",)):
            faults.append(in_file(rule.file, f"when.{name}", "is a reading: it has no outcomes"))
        if check.reading is None and (numeric or test.reads):
            faults.append(in_file(rule.file, f"when.{name}", "is not a reading: it has outcomes"))
    return faults


def _cycle_faults(knowledge: "Knowledge") -> list[Fault]:
    """Return a fault when a rule's ``not_concluded`` can depend on its own conclusions.

    Conclusions are ordered in layers (see engine.knowledge.rule_layers); a negation inside a cycle
    would make the answer depend on the order of firing.
    """
    try:
        layers(knowledge.rules, knowledge.programs)
    except NegationCycleError as error:
        return [in_file(knowledge.rules[error.rule].file, "when", str(error))]
    return []


def _words_faults(words: items.Words, knowledge: "Knowledge") -> list[Fault]:
    """Return faults for what phrases point to and is not there."""
    faults: list[Fault] = []
    cautions = [rule.id for rule in knowledge.rules.values() if rule.family == "cautions"]
    for number, meaning in enumerate(words.meanings):
        place = f"meanings[{number}]"
        caution = [meaning.caution] if meaning.caution else []
        faults += _ids(words.file, f"{place}.caution", "caution", caution, cautions)
        faults += _ids(words.file, f"{place}.causes", "cause", meaning.causes, knowledge.causes)
        faults += _ids(words.file, f"{place}.checks", "check", meaning.checks, knowledge.checks)
        for row, one in enumerate(meaning.findings):
            path, check = f"{place}.findings[{row}]", knowledge.checks.get(one.check)
            faults += _ids(words.file, f"{path}.check", "check", [one.check], knowledge.checks)
            if check is not None and check.outcomes is None:
                faults.append(in_file(words.file, path, "is a reading: it has no outcomes"))
            elif check is not None and check.outcomes is not None:
                known = check.outcomes.names
                faults += _ids(words.file, f"{path}.outcome", "outcome", [one.outcome], known)
    return faults


def _said_twice(knowledge: "Knowledge") -> list[Fault]:
    """Return a fault for each phrase whose very words stand elsewhere too."""
    faults: list[Fault] = []
    seen: dict[tuple[str, tuple[frozenset[str], ...]], str] = {}
    for words in knowledge.words.values():
        for number, meaning in enumerate(words.meanings):
            for row, phrase in enumerate(meaning.phrases):
                path = f"meanings[{number}].phrases[{row}]"
                for duty in items.DUTIES if meaning.duty is None else (meaning.duty,):
                    first = seen.setdefault((duty, phrase.parts), f"{words.file}: {path}")
                    if first != f"{words.file}: {path}":
                        message = f"'{phrase.text}' has the words of {first}"
                        faults.append(in_file(words.file, path, message))
    return faults
