"""What a caller's words may mean, as every door proposes it; nothing is taken by itself.

The words are looked for by ``engine.hearing``; here they get the names that people read.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from api.interview.next_step import COMPLAINTS
from engine import Knowledge
from engine.answer.documents import Document
from engine.hearing import Heard, HeardProposal, Listener
from engine.knowledge.items import HeardFinding
from engine.rules.cautions import caution_text


@dataclass(frozen=True)
class HeardCaution:
    """A danger that the words tell of: its text is read out before anything else."""

    id: str
    text: str
    duties: tuple[str, ...]
    heard: tuple[Heard, ...]


@dataclass(frozen=True)
class HeardOutcome:
    """A finding that the words may be."""

    check: str
    outcome: str
    moment: str | None
    name: str
    words: str
    duties: tuple[str, ...]
    heard: tuple[Heard, ...]

    @property
    def said(self) -> str:
        """Return the words that it came from, each once."""
        return quoted(self.heard)

    @property
    def name_of(self) -> str:
        """Return check, outcome and moment as one word: ``relay-click=heard``."""
        return HeardFinding(self.check, self.outcome, self.moment).of_check


@dataclass(frozen=True)
class HeardItem:
    """A cause that the words hint at, or a check that they ask for."""

    id: str
    name: str
    duties: tuple[str, ...]
    heard: tuple[Heard, ...]


@dataclass(frozen=True)
class HearingAnswer(Document):
    """What a caller's words may mean; the cautions come first, and nothing is taken by itself."""

    cautions: tuple[HeardCaution, ...]
    complaints: tuple[HeardOutcome, ...]
    findings: tuple[HeardOutcome, ...]
    causes: tuple[HeardItem, ...]
    checks: tuple[HeardItem, ...]
    knowledge_version: str


def hear(knowledge: Knowledge, text: str, duty: str | None = None) -> HearingAnswer:
    """Return what a text may mean, of one duty only where it is given."""
    heard = Listener(knowledge).hear(text, duty)
    found = [_outcome(knowledge, one, one.finding) for one in heard.findings if one.finding]
    rules = knowledge.rules
    return HearingAnswer(
        tuple(HeardCaution(one.id, caution_text(rules[one.id]), one.duties, one.heard)
              for one in heard.cautions),
        tuple(one for one in found if one.check in COMPLAINTS.values()),
        tuple(one for one in found if one.check not in COMPLAINTS.values()),
        tuple(_item(knowledge.causes[one.id].name, one) for one in heard.causes),
        tuple(_item(knowledge.checks[one.id].name, one) for one in heard.checks),
        knowledge.version,
    )  # fmt: skip


def _outcome(knowledge: Knowledge, one: HeardProposal, finding: HeardFinding) -> HeardOutcome:
    check, outcome = knowledge.checks[finding.check], finding.outcome
    words = check.outcomes.words.get(outcome, outcome) if check.outcomes else outcome
    when = f" ({finding.moment.replace('-', ' ')})" if finding.moment else ""
    return HeardOutcome(
        check.id, outcome, finding.moment, check.name, f"{words}{when}", one.duties, one.heard
    )


def _item(name: str, one: HeardProposal) -> HeardItem:
    return HeardItem(one.id, name, one.duties, one.heard)


def quoted(heard: Iterable[Heard]) -> str:
    """Return words as they were said, each once, in quotation marks."""
    return ", ".join(dict.fromkeys(f"\u201c{' '.join(one.words.split())}\u201d" for one in heard))
