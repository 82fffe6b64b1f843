"""Text to shape to whole: the loader that reports every fault at once and starts on none."""

import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from marshmallow import ValidationError

from engine.knowledge import items
from engine.knowledge.cross import cross_faults
from engine.knowledge.faults import Code, Fault, KnowledgeError, in_file, unknown
from engine.knowledge.files import Source, read_sources
from engine.knowledge.rule_language import MachineTest, Program, read_rule
from engine.knowledge.shapes import flatten, loader_of
from engine.knowledge.text import load_yaml

RELEASE = "2026.11"
_FILES_KEPT = 2048  # a base has some 600
Raw = dict[str, dict[str, Source]]  # by kind and stem
Shelf = dict[str, Any]  # id -> item of one kind
_KINDS = {"check": "checks", "cause": "causes", "conclusion": "rules", "caution": "rules"}  # of ids


@dataclass(frozen=True)
class Knowledge:
    """The whole knowledge base, checked. Mappings are in order of id."""

    causes: Mapping[str, items.Cause]
    checks: Mapping[str, items.Check]
    circuits: Mapping[str, items.Circuit]
    rules: Mapping[str, items.Rule]
    tables: Mapping[str, items.Table]
    words: Mapping[str, items.Words]
    programs: Mapping[str, Program] = field(repr=False)
    version: str
    learned: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

    def circuits_of(self, duty: object, control: object) -> list[items.Circuit]:
        """Return the circuits that a machine may have: all of its duty where it is 'unknown'."""
        found = (one for one in self.circuits.values() if one.duty == duty)
        return [one for one in found if control in (one.control, "unknown")]

    def share(self, circuit: str, cause: str) -> float:
        """Return a cause's relative frequency on a circuit: learned, or as its file has it."""
        return self.learned.get(circuit, {}).get(cause, self.causes[cause].share)

    def rows(self, table: str) -> dict[str, Mapping[str, Any]]:
        """Return the rows of a table by their ``id``."""
        return {str(row["id"]): row for row in self.tables[table].rows}

    @cached_property
    def thresholds(self) -> items.Thresholds:
        """Return what decides between check and repair (kb/tables/advice.yaml)."""
        rows = self.rows("advice")
        names = [one.name for one in fields(items.Thresholds)]
        return items.Thresholds(*(float(rows[one.replace("_", "-")]["value"]) for one in names))

    @cached_property
    def machine_cautions(self) -> Mapping[str, Sequence[MachineTest]]:
        """Return the cautions that hang on the machine alone, with what they ask of it."""
        tests = {
            name: self.programs[name].conditions
            for name, rule in self.rules.items() if rule.family == "cautions"
        }  # fmt: skip
        return {
            name: [one for one in mine if isinstance(one, MachineTest)]
            for name, mine in tests.items() if all(isinstance(one, MachineTest) for one in mine)
        }  # fmt: skip


def load_knowledge(
    overlays: Sequence[Path | str] = (), left_out: Collection[str] = (), *, style: bool = True
) -> Knowledge:
    """Load the shipped base with ``overlays`` laid over it, in order, without files ``left_out``.

    Without ``style`` keys may stand in any order: a shop's service starts with what 'kb check'
    still finds fault with.
    Raises KnowledgeError carrying every fault found, each with file, item and field.
    """
    sources, off, faults = read_sources([Path(overlay) for overlay in overlays], left_out)
    raw: Raw = {kind: {} for kind in items.KINDS_OF_FILE}
    broken: dict[str, set[str]] = {kind: set() for kind in items.KINDS_OF_FILE}
    for source in sources:
        found = _text_faults(source)
        faults += found
        if found:
            broken[source.kind].add(source.stem)
        else:
            raw[source.kind][source.stem] = source
    gone = _switch_off(raw, off, faults)
    read = {kind: _shape_layer(raw[kind], faults) for kind in raw}
    faults = [one for one in faults if style or one.code is not Code.KEY_ORDER]
    for kind, files in raw.items():
        broken[kind] |= files.keys() - read[kind].keys()
    if broken["circuits"] or broken["tables"]:  # the rest could not be judged without them
        raise KnowledgeError(faults)
    for name in left_out:
        folder = name.partition("/")[2].split("/", maxsplit=1)[0]
        broken.setdefault(folder, set()).add(Path(name).stem)
    knowledge = _whole(read, raw["rules"], faults, _version(sources, off, bool(overlays)))
    faults += [
        fault
        for fault in cross_faults(knowledge)
        if not _is_echo(fault, broken) and not _is_of(fault, gone)
    ]
    if faults:
        raise KnowledgeError(faults)
    return knowledge


def _is_of(fault: Fault, stems: Mapping[str, Collection[str]]) -> bool:
    """Return whether a fault only says that what stands in files of these stems is not there.

    What still refers to something that a shop switched off (a rule about a check that nobody
    there can do) then does nothing.
    """
    kind, name = fault.about
    of_kind = stems.get(_KINDS.get(kind, ""), ())
    return bool(of_kind) if kind == "conclusion" else name.split("/")[0] in of_kind


def _is_echo(fault: Fault, broken: Mapping[str, Collection[str]]) -> bool:
    """Return whether a fault only says that a file is missing which is there, but with faults."""
    missing = {f"kb/{kind}/{stem}.yaml" for kind, stems in broken.items() for stem in stems}
    return fault.path in missing or _is_of(fault, broken)


def _text_faults(source: Source) -> list[Fault]:
    try:
        content = _parsed(source.text, source.name)
    except KnowledgeError as error:
        return error.faults
    message = "must be a mapping of keys to values"
    right = isinstance(content, dict)
    return [] if right else [in_file(source.name, "", message, Code.WRONG_TYPE)]


def _in_file(file: str, found: Iterable[Fault]) -> list[Fault]:
    """Return faults of what stands in a file as faults of the file."""
    return [in_file(file, one.path, one.message, one.code) for one in found]


# A base is read again with each overlay that is tried, and at each reload of a service: what is the
# same text is the same item. Nobody changes one.
@lru_cache(maxsize=_FILES_KEPT)
def _parsed(text: str, name: str) -> Any:
    return load_yaml(text, name)


@lru_cache(maxsize=_FILES_KEPT)
def _shaped(kind: str, text: str, name: str) -> Any:
    form: Any = items.KINDS_OF_FILE[kind]
    return loader_of(form).load(_parsed(text, name))


@lru_cache(maxsize=_FILES_KEPT)
def _programmed(text: str, name: str) -> tuple[Program, tuple[Fault, ...]]:
    program, faults = read_rule(_shaped("rules", text, name))
    return program, tuple(faults)


def _switch_off(raw: Raw, off: Mapping[str, Any], faults: list[Fault]) -> dict[str, set[str]]:
    """Remove what overlays switch off and return its ids by kind; note those that do not exist."""
    gone: dict[str, set[str]] = {}
    for name, listed in off.items():
        try:
            wanted: Any = loader_of(items.SwitchedOff).load(listed)
        except ValidationError as error:
            faults += _in_file(name, flatten(error.messages))
            continue
        for kind, ids in vars(wanted).items():
            gone.setdefault(kind, set()).update(ids)
            faults += [
                in_file(name, kind, unknown("id", one, raw[kind]))
                for one in ids
                if raw[kind].pop(one, None) is None
            ]
    return gone


def _shape_layer(sources: Mapping[str, Source], faults: list[Fault]) -> Shelf:
    """Read every file of a kind into its item; check its stem and the order of its keys."""
    read = {}
    for stem, source in sources.items():
        form: Any = items.KINDS_OF_FILE[source.kind]
        content = _parsed(source.text, source.name)
        try:
            item: Any = _shaped(source.kind, source.text, source.name)
        except ValidationError as error:
            faults += _in_file(source.name, flatten(error.messages))
            continue
        if item.id != stem:
            faults.append(in_file(source.name, "id", f"must be the file's stem, '{stem}'"))
            continue
        order = [key for key in loader_of(form).fields if key in content]
        if list(content) != order:
            message = f"keys stand in the order {', '.join(order)}"
            faults.append(in_file(source.name, "", message, Code.KEY_ORDER))
        read[stem] = replace(item, raw=content, file=source.name)
    return read


def _circuits(read: Mapping[str, items.Circuit], faults: list[Fault]) -> dict[str, items.Circuit]:
    """Lay each circuit over its base; the base itself is not among the result."""
    laid = {}
    for stem, circuit in read.items():
        if circuit.abstract:
            continue
        base = read.get(circuit.base)
        if base is None:
            faults.append(in_file(circuit.file, "base", unknown("circuit", circuit.base, read)))
        elif not base.abstract:
            faults.append(in_file(circuit.file, "base", f"'{circuit.base}' is not abstract"))
        else:
            laid[stem] = circuit.over(base)
    return laid


def _whole(
    read: Mapping[str, Shelf], rules: Mapping[str, Source], faults: list[Fault], version: str
) -> Knowledge:
    """Put the items together; faults of rules and of bases of circuits go to ``faults``."""
    programs = {}
    for stem, rule in read["rules"].items():
        programs[stem], found = _programmed(rules[stem].text, rule.file)
        faults += _in_file(rule.file, found)
        if rule.family != rule.file.split("/")[-2]:
            faults.append(in_file(rule.file, "family", "must be the name of the folder"))
    return Knowledge(
        **{**read, "circuits": _circuits(read["circuits"], faults)},
        programs=programs, version=version,
    )  # fmt: skip


def _version(sources: Sequence[Source], off: Mapping[str, Any], overlaid: bool) -> str:
    """Return release and digest of all that is in force, so that an answer can be repeated."""
    digest = hashlib.sha256()
    for source in sources:
        digest.update(f"{source.folder}/{source.stem}\0{source.text}\0".encode())
    digest.update(repr(sorted(off.items())).encode())
    return f"{RELEASE}{'+shop' if overlaid else ''}-{digest.hexdigest()[:12]}"


def inspect(overlays: Sequence[Path | str] = ()) -> tuple[list[Fault], Knowledge | None]:
    """Load the shipped base with ``overlays`` over it; return every fault instead of raising.

    The loader stops at the first layer of checking that finds anything. Here the files at fault are
    left out, where they are a shop's own, and the rest is loaded again until it loads.

    What only follows from a fault reported already (an id that is unknown because its file cannot
    be read) is not reported again. There is no knowledge where a shipped file is at fault.
    """
    faults: list[Fault] = []
    left_out: set[str] = set()
    while True:
        try:
            knowledge = load_knowledge(overlays, left_out)
        except KnowledgeError as error:
            faults += error.faults
            files = {one.file for one in error.faults}
            if not all(_is_own(one, overlays) for one in files) or not files - left_out:
                return sorted(set(faults)), None
            left_out |= files
        else:
            return sorted(set(faults)), knowledge


def _is_own(file: str, overlays: Iterable[Path | str]) -> bool:
    """Return whether a file, named as faults name it, stands in one of a shop's own folders."""
    label, _, rest = file.partition("/")
    return any(
        Path(folder).name == label and rest and (Path(folder) / rest).exists()
        for folder in overlays
    )
