"""The one runner of cases: rule cases, worked cases, words and calls, read from files and run.

A file says by its keys what it holds (DEVELOPERS.md tells the formats). ``threewire kb cases`` and
the tests run the same cases through the same functions.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar, cast

from marshmallow import ValidationError

from api.curation.calls import CallCase, Chance, RequestData
from api.strict_json import Json
from engine import Diagnoser, Fault, Knowledge, KnowledgeError, RequestError
from engine.hearing import Listener
from engine.knowledge.faults import unknown
from engine.knowledge.items import Duty, Hazard, HeardFinding, Ids, Prose
from engine.knowledge.shapes import flatten, loader_of, said
from engine.knowledge.text import load_yaml
from engine.reasoning.observe import case_view, observe
from engine.reasoning.request import read_request
from engine.rules.cautions import caution_text
from engine.rules.compile import concluded

LEAST_SHARE_OF_FIRST = 0.5  # an expected cause may share the lead's group at half its probability


@dataclass(frozen=True)
class RuleCase:
    """A request on which a rule must fire, or must not.

    ``step`` are the hazards of a step that the rule may caution about; ``beliefs`` are the
    probabilities of causes, for a rule that asks about them.
    """

    because: Prose = said("What it shows.")
    request: RequestData = said("What the engine is asked.")
    step: tuple[Hazard, ...] | None = said("Dangers of a step.", default=None)
    beliefs: Mapping[str, Chance] | None = said("Probabilities of causes.", default=None)

    def fired(self, diagnoser: Diagnoser) -> set[str]:
        """Return the rules that fire. Raises RequestError for a bad request."""
        request = read_request(self.request, diagnoser.knowledge)
        if self.step is None and self.beliefs is None:
            return {one.rule for side in diagnoser.conclusions(request) for one in side.firings}
        model = diagnoser.models.get(request.machine)
        view = case_view(request, [observe(model, one) for one in request.findings])
        if self.step is not None:
            texts = diagnoser.cautions.for_step(frozenset(self.step), view)
            rules = [diagnoser.knowledge.rules[name] for name in diagnoser.cautions.step_rules]
            return {rule.id for rule in rules if caution_text(rule) in texts}
        view, known, found = view.with_beliefs(self.beliefs or {}), frozenset[str](), set[str]()
        for stage in diagnoser.rule_sets.values():
            firings = stage.run(view, known)
            known |= concluded(firings)
            found |= {one.rule for one in firings}
        return found


@dataclass(frozen=True)
class RuleFile:
    """The cases of one rule."""

    rule: str = said("The rule.")
    fires: tuple[RuleCase, ...] = said("Where it must fire.", least=1)
    silent: tuple[RuleCase, ...] = said("Where it must not.", least=1)

    def cases(self) -> Iterable[tuple[str, bool, RuleCase]]:
        """Yield the place of each case in the file, whether the rule must fire, and the case."""
        for place, must, found in (("fires", True, self.fires), ("silent", False, self.silent)):
            for number, case in enumerate(found):
                yield f"{place}[{number}]", must, case

    def results(self, diagnoser: Diagnoser, fired: set[str]) -> Iterator[Sequence[str]]:
        """Yield the faults of each case; the rules that fire are added to ``fired``."""
        for place, must, case in self.cases():
            try:
                found = case.fired(diagnoser)
            except RequestError as error:
                yield [f"{place}.request: {fault}" for fault in error.faults]
                continue
            fired |= found
            said = f"{place}: the rule {'stayed silent' if must else 'fired'}"
            yield [] if (self.rule in found) == must else [said]


@dataclass(frozen=True)
class ExpectedLead:
    """What must come out of a worked case."""

    lead: str = said("The cause that must lead.")


@dataclass(frozen=True)
class WorkedCase:
    """A request and the cause that an experienced technician would put first."""

    request: RequestData = said("What the engine is asked.")
    expect: ExpectedLead = said("What must come out.")
    id: str = said("Its name.", default="")
    story: Prose = said("What happened.", default="")
    source: Prose = said("Where it comes from.", default="")

    @property
    def lead(self) -> str:
        """Return the cause that must lead."""
        return self.expect.lead

    def fault(self, causes: Sequence[Json]) -> str | None:
        """Return what is wrong with an answer's causes, or None where the cause leads.

        It leads when it is first, or in the first's group at half its probability or more.
        """
        first = causes[0]
        found = next((one for one in causes if one["id"] == self.lead), None)
        least = LEAST_SHARE_OF_FIRST * first["probability"]
        if found and found["group"] == first["group"] and found["probability"] >= least:
            return None
        said = f"'{first['id']}' does with {first['probability']:.2f}"
        return f"expect.lead: '{self.lead}' does not lead; {said}"

    def results(self, diagnoser: Diagnoser, fired: set[str]) -> Iterator[Sequence[str]]:
        """Yield the faults of the case; the rules that fire are added to ``fired``."""
        try:
            answer = diagnoser.diagnose(self.request)
        except RequestError as error:
            yield [f"request: {fault}" for fault in error.faults]
            return
        answers = [answer, *answer.get("sides", {}).values()]
        fired |= {str(entry["rule"]) for one in answers for entry in one["trace"]}
        fault = self.fault(answer["causes"])
        yield [fault] if fault else []


@dataclass(frozen=True, kw_only=True)
class HeardCase:
    """What is heard in what a caller says: the findings and cautions, all of them.

    Causes and checks are compared where they are given.
    """

    text: Prose = said("What the caller says.")
    duty: Duty | None = said("The duty, where it is known.", default=None)
    cautions: Ids = said("The cautions whose words come first.", default=())
    findings: tuple[HeardFinding, ...] = said("The findings.", default=())
    causes: Ids | None = said("The causes hinted at.", default=None)
    checks: Ids | None = said("The checks asked for.", default=None)

    def fault(self, listener: Listener) -> str | None:
        """Return what is heard wrongly, or None."""
        heard = listener.hear(self.text, self.duty)
        findings = [one.of_check for one in self.findings]
        wanted = {"cautions": self.cautions, "findings": findings, "causes": self.causes,
                  "checks": self.checks}  # fmt: skip
        for kind, ids in wanted.items():
            found = sorted(one.name for one in getattr(heard, kind))
            if ids is not None and found != sorted(ids):
                return f"hears {kind} {', '.join(found) or 'none'}, not {', '.join(ids) or 'none'}"
        return None


@dataclass(frozen=True)
class UnheardCase:
    """What a caller says, in which nothing of a file of words is heard."""

    because: Prose = said("What it shows.")
    text: Prose = said("What the caller says.")

    def fault(self, listener: Listener) -> str | None:
        """Return what is heard, or None."""
        heard = listener.hear(self.text)
        found = [one.name for kind in vars(heard).values() for one in kind]
        return f"hears {', '.join(found)}" if found else None


@dataclass(frozen=True)
class WordsFile:
    """The cases of one file of words."""

    words: str = said("The file of words.")
    hears: tuple[HeardCase, ...] = said("Where they must be heard.", least=1)
    silent: tuple[UnheardCase, ...] = said("Where they must not.", least=1)

    def results(self, diagnoser: Diagnoser, _fired: set[str]) -> Iterator[Sequence[str]]:
        """Yield the faults of each case."""
        listener = Listener(diagnoser.knowledge)
        alone = listener.of_file(self.words)
        heard = [(f"hears[{n}]", case.fault(listener)) for n, case in enumerate(self.hears)]
        heard += [(f"silent[{n}]", case.fault(alone)) for n, case in enumerate(self.silent)]
        yield from ([f"{place}: {fault}"] if fault else [] for place, fault in heard)


CaseFile = RuleFile | WorkedCase | CallCase | WordsFile
Kind = TypeVar("Kind", RuleFile, WorkedCase, CallCase, WordsFile)
# the key that tells a kind of file from the others
_KINDS: Mapping[str, Any] = {
    "rule": RuleFile, "accept": CallCase, "expect": WorkedCase, "words": WordsFile,
}  # fmt: skip


@dataclass(frozen=True)
class CaseFiles:
    """Case files by their names below the folders, and the faults of those that are none."""

    files: Mapping[str, CaseFile]
    faults: tuple[str, ...]

    def of(self, kind: type[Kind]) -> dict[str, Kind]:
        """Return the files of a kind, by name."""
        return {name: file for name, file in self.files.items() if isinstance(file, kind)}


@dataclass
class Ran:
    """What came of running cases."""

    cases: int = 0
    failures: list[str] = field(default_factory=list)
    fired: set[str] = field(default_factory=set)


def shipped_folder() -> Path | None:
    """Return the cases beside a checkout, or None where there are none."""
    folder = Path(__file__).parents[2] / "tests" / "cases"
    return folder if folder.is_dir() else None


def read(folders: Iterable[Path], knowledge: Knowledge) -> CaseFiles:
    """Return every case file below the folders, in order of name, and what is wrong with others."""
    found: dict[str, CaseFile] = {}
    faults: list[str] = []
    for folder in folders:
        for file in sorted(folder.rglob("*.yaml")):
            name = file.relative_to(folder).as_posix()
            try:
                found[name] = _read(file, name, knowledge)
            except KnowledgeError as error:
                faults += [str(fault) for fault in error.faults]
    return CaseFiles(found, tuple(faults))


def _read(file: Path, name: str, knowledge: Knowledge) -> CaseFile:
    """Return what a file holds. Raises KnowledgeError that carries every fault of it."""
    try:
        content: Any = load_yaml(file.read_text(encoding="utf-8"), name)
    except (UnicodeDecodeError, OSError):
        raise KnowledgeError([Fault(name, "cannot be read as UTF-8 text")]) from None
    if not isinstance(content, dict):
        raise KnowledgeError([Fault(name, "must be a mapping of keys to values")])
    kind = next((one for key, one in _KINDS.items() if key in content), None)
    if kind is None:
        message = "has neither rule, fires and silent nor request and expect, nor accept, nor words"
        raise KnowledgeError([Fault(name, message)])
    faults, made = _unknown_names(content, knowledge), None
    try:
        made = loader_of(kind).load(content)
    except ValidationError as error:
        faults += [str(fault) for fault in flatten(error.messages)]
    if faults:
        raise KnowledgeError(Fault(name, one) for one in faults)
    return cast(CaseFile, made)


def _unknown_names(content: Json, knowledge: Knowledge) -> list[str]:
    """Return a fault for a rule, a file of words or a cause that does not exist."""
    expect = content.get("expect")
    if "rule" in content and content["rule"] not in knowledge.rules:
        return [f"rule: {unknown('rule', content['rule'], knowledge.rules)}"]
    if "words" in content and content["words"] not in knowledge.words:
        return [f"words: {unknown('file of words', content['words'], knowledge.words)}"]
    if isinstance(expect, dict) and expect.get("lead") not in knowledge.causes:
        return [f"expect.lead: {unknown('cause', expect.get('lead'), knowledge.causes)}"]
    return []


def run(diagnoser: Diagnoser, found: CaseFiles) -> Ran:
    """Run rule cases, worked cases and words; calls have a runner of their own (``calls.run``)."""
    ran = Ran(failures=list(found.faults))
    for name, file in found.files.items():
        if not isinstance(file, CallCase):
            for faults in file.results(diagnoser, ran.fired):
                ran.cases += 1
                ran.failures += [f"{name}: {fault}" for fault in faults]
    return ran
