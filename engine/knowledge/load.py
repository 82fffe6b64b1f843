"""Text to shape to whole: the loader that reports every fault at once and starts on none."""

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from marshmallow import Schema, ValidationError

from engine.knowledge import build, items, shapes
from engine.knowledge.cross import cross_faults
from engine.knowledge.faults import Fault, KnowledgeError, unknown
from engine.knowledge.files import FOLDERS, Source, read_sources
from engine.knowledge.rule_language import Program, read_rule
from engine.knowledge.text import load_yaml

RELEASE = "2026.11"
_SCHEMAS: Mapping[str, Schema] = {
    "circuits": shapes.CircuitSchema(),
    "causes": shapes.CauseSchema(),
    "checks": shapes.CheckSchema(),
    "rules": shapes.RuleSchema(),
    "tables": shapes.TableSchema(),
}

Raw = dict[str, dict[str, tuple[Source, dict[str, Any]]]]


@dataclass(frozen=True)
class Knowledge:
    """The whole knowledge base, checked. Mappings are in order of id."""

    causes: Mapping[str, items.Cause]
    checks: Mapping[str, items.Check]
    circuits: Mapping[str, items.Circuit]
    rules: Mapping[str, items.Rule]
    tables: Mapping[str, items.Table]
    programs: Mapping[str, Program] = field(repr=False)
    version: str
    learned: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    switched_off: frozenset[str] = frozenset()

    def share(self, circuit: str, cause: str) -> float:
        """Return a cause's relative frequency on a circuit: learned, or as its file has it."""
        return self.learned.get(circuit, {}).get(cause, self.causes[cause].share)

    def rows(self, table: str) -> dict[str, Mapping[str, Any]]:
        """Return the rows of a table by their ``id``."""
        return {str(row["id"]): row for row in self.tables[table].rows}


def load_knowledge(
    overlays: Sequence[Path | str] = (), left_out: Collection[str] = ()
) -> Knowledge:
    """Load the shipped base with ``overlays`` laid over it, in order, without files ``left_out``.

    Raises KnowledgeError carrying every fault found, each with file, item and field.
    """
    sources, off, faults = read_sources([Path(overlay) for overlay in overlays], left_out)
    raw: Raw = {kind: {} for kind in _SCHEMAS}
    unread: dict[str, set[str]] = {kind: set() for kind in _SCHEMAS}
    for source in sources:
        content = _text_layer(source, faults)
        if content is None:
            unread[FOLDERS[source.folder]].add(source.stem)
        else:
            raw[FOLDERS[source.folder]][source.stem] = (source, content)
    faults += _switch_off(raw, off)
    shaped = {kind: _shape_layer(kind, raw[kind], faults) for kind in _SCHEMAS}
    broken = {kind: unread[kind] | (raw[kind].keys() - shaped[kind].keys()) for kind in _SCHEMAS}
    if broken["circuits"] or broken["tables"]:  # the rest could not be judged without them
        raise KnowledgeError(faults)
    knowledge = replace(
        _whole(shaped, faults, _version(sources, off, bool(overlays))),
        switched_off=frozenset(_ids_off(off)),
    )
    broken["checks"] |= shaped["checks"].keys() - knowledge.checks.keys()
    faults += [
        fault
        for fault in cross_faults(knowledge)
        if not _is_echo(fault, broken) and not _is_off(fault, off)
    ]
    if faults:
        raise KnowledgeError(faults)
    return knowledge


def _is_echo(fault: Fault, broken: Mapping[str, set[str]]) -> bool:
    """Return whether a fault only says that a file is missing which is there, but with faults."""
    for kind in ("check", "cause"):
        for stem in broken[f"{kind}s"]:
            if fault.message.startswith((f"unknown {kind} '{stem}'", f"unknown {kind} '{stem}/")):
                return True
            if fault.path == f"kb/{kind}s/{stem}.yaml":
                return True
    return bool(broken["rules"]) and fault.message.startswith("unknown conclusion ")


def _ids_off(off: Mapping[str, Any], kind: str | None = None) -> set[str]:
    """Return the ids that overlays switch off, of one kind or of all."""
    return {
        str(one)
        for listed in off.values()
        if isinstance(listed, dict)
        for name, ids in listed.items()
        if kind in (None, name) and isinstance(ids, list)
        for one in ids
    }


def _is_off(fault: Fault, off: Mapping[str, Any]) -> bool:
    """Return whether a fault only says that something is not there which a shop switched off.

    What still refers to it (a rule about a check that nobody here can do) then does nothing.
    """
    for kind in ("check", "cause"):
        for stem in _ids_off(off, f"{kind}s"):
            if fault.message.startswith((f"unknown {kind} '{stem}'", f"unknown {kind} '{stem}/")):
                return True
    return bool(_ids_off(off, "rules")) and fault.message.startswith("unknown conclusion ")


def _text_layer(source: Source, faults: list[Fault]) -> dict[str, Any] | None:
    try:
        content = load_yaml(source.text, source.name)
    except KnowledgeError as error:
        faults += error.faults
        return None
    if not isinstance(content, dict):
        faults.append(Fault(source.name, "must be a mapping of keys to values"))
        return None
    return content


def _switch_off(raw: Raw, off: Mapping[str, Any]) -> list[Fault]:
    """Remove what an overlay switches off by id; return faults for ids that do not exist."""
    faults = []
    for name, listed in off.items():
        if not isinstance(listed, dict):
            faults.append(Fault(name, "must map causes, checks or rules to lists of ids"))
            continue
        for kind, ids in listed.items():
            if kind not in ("causes", "checks", "rules") or not isinstance(ids, list):
                faults.append(Fault(f"{name}: {kind}", "must be causes, checks or rules: [ids]"))
                continue
            faults += [
                Fault(f"{name}: {kind}", unknown("id", one, raw[kind]))
                for one in ids
                if raw[kind].pop(str(one), None) is None
            ]
    return faults


def _shape_layer(
    kind: str, raw: Mapping[str, tuple[Source, dict[str, Any]]], faults: list[Fault]
) -> dict[str, tuple[Source, dict[str, Any], dict[str, Any]]]:
    """Check the shape of every file of a kind, its stem and the order of its keys."""
    shaped = {}
    schema = _SCHEMAS[kind]
    for stem, (source, content) in raw.items():
        try:
            data: Any = schema.load(content)
        except ValidationError as error:
            faults += [
                Fault(f"{source.name}: {fault.path}" if fault.path else source.name, fault.message)
                for fault in shapes.flatten(error.messages)
            ]
            continue
        if content.get("id") != stem:
            faults.append(Fault(f"{source.name}: id", f"must be the file's stem, '{stem}'"))
            continue
        order = [key for key in schema.fields if key in content]
        if list(content) != order:
            faults.append(Fault(source.name, f"keys stand in the order {', '.join(order)}"))
        shaped[stem] = (source, content, data)
    return shaped


def _whole(
    shaped: Mapping[str, Mapping[str, tuple[Source, dict[str, Any], dict[str, Any]]]],
    faults: list[Fault],
    version: str,
) -> Knowledge:
    """Build the items; faults of building go to ``faults``."""
    rules = {
        stem: build.rule(source.name, content, data)
        for stem, (source, content, data) in shaped["rules"].items()
    }
    programs = {}
    for stem, rule in rules.items():
        programs[stem], found = read_rule(rule)
        faults += [Fault(f"{rule.file}: {fault.path}", fault.message) for fault in found]
        if rule.family != _family(rule.file):
            faults.append(Fault(f"{rule.file}: family", "must be the name of the folder"))
    return Knowledge(
        causes={s: build.cause(f.name, c, d) for s, (f, c, d) in shaped["causes"].items()},
        checks=build.checks(shaped["checks"], faults),
        circuits=build.circuits(shaped["circuits"], faults),
        rules=rules,
        tables={s: build.table(f.name, c, d) for s, (f, c, d) in shaped["tables"].items()},
        programs=programs,
        version=version,
    )


def _family(file: str) -> str:
    return file.split("/")[-2]


def _version(sources: Sequence[Source], off: Mapping[str, Any], overlaid: bool) -> str:
    """Return release and digest of all that is in force, so that an answer can be repeated."""
    digest = hashlib.sha256()
    for source in sources:
        digest.update(f"{source.folder}/{source.stem}\0{source.text}\0".encode())
    digest.update(repr(sorted(off.items())).encode())
    return f"{RELEASE}{'+shop' if overlaid else ''}-{digest.hexdigest()[:12]}"
