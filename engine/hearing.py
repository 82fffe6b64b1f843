"""Hearing: what a caller's words may mean, by the phrases of kb/words.

It proposes and never takes: whoever listens confirms. Words are compared by their stems, in their
order, with few others in between; what is denied is not heard.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

from engine.knowledge import Knowledge
from engine.knowledge.items import DUTIES, Applies, HeardFinding, PhraseMeaning
from engine.knowledge.speech import NOT, Spoken, Word, stem, words_of

MOST_BETWEEN = 2  # so many other words may stand between two words of a phrase
REACH = 2  # a negation bears on so many words behind it
Where = tuple[Applies, ...]
_NOT_ONLY = ([NOT, stem("only")], [NOT, "just"])  # "not only clicks": it clicks


@dataclass(frozen=True)
class Heard:
    """Words of the text that a phrase met: from character ``start`` to before ``end``."""

    start: int
    end: int
    words: str


@dataclass(frozen=True)
class HeardProposal:
    """What the words may mean: a finding, a cause, a check to do or a caution.

    ``duties`` are those on which it can be so; ``heard`` are the words it came from.
    """

    id: str
    duties: tuple[str, ...]
    heard: tuple[Heard, ...]
    finding: HeardFinding | None = None

    @property
    def name(self) -> str:
        """Return the id; of a finding its name: ``relay-click=heard``."""
        return self.finding.of_check if self.finding else self.id

    def also(self, duties: Iterable[str], heard: Heard) -> "HeardProposal":
        """Return the proposal with more words that it came from."""
        every = tuple(dict.fromkeys((*self.heard, heard)))
        possible = tuple(one for one in DUTIES if one in {*self.duties, *duties})
        return replace(self, duties=possible, heard=every)


@dataclass(frozen=True)
class Hearing:
    """What a text may mean, each kind in the order in which it was said."""

    cautions: tuple[HeardProposal, ...] = ()
    findings: tuple[HeardProposal, ...] = ()
    causes: tuple[HeardProposal, ...] = ()
    checks: tuple[HeardProposal, ...] = ()


@dataclass(frozen=True)
class _Match:
    """A phrase met in a text: its meaning and the places of its words."""

    meaning: PhraseMeaning
    places: tuple[int, ...]


class Listener:
    """The phrases of a knowledge base, ready to be looked for."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self._by_first: dict[str, list[tuple[Spoken, PhraseMeaning]]] = {}
        for words in knowledge.words.values():
            for meaning in words.meanings:
                for phrase in meaning.phrases:
                    for first in phrase.parts[0]:
                        self._by_first.setdefault(first, []).append((phrase, meaning))

    def of_file(self, name: str) -> "Listener":
        """Return a listener for the phrases of one file alone."""
        return Listener(replace(self.knowledge, words={name: self.knowledge.words[name]}))

    def hear(self, text: str, duty: str | None = None) -> Hearing:
        """Return what a text may mean, of one duty only where it is given."""
        words = words_of(text)
        found: dict[str, dict[str, HeardProposal]] = {one.name: {} for one in fields(Hearing)}
        for match in sorted(_longest(self._matches(words)), key=lambda one: one.places):
            heard = _heard(text, words, match.places)
            for kind, new, where in _points(match.meaning, self.knowledge):
                duties = _possible(where, match.meaning.duty, duty)
                if duties:
                    had = found[kind].get(new.name, new)
                    found[kind][new.name] = had.also(duties, heard)
        return Hearing(**{kind: tuple(there.values()) for kind, there in found.items()})

    def _matches(self, words: Sequence[Word]) -> Iterator[_Match]:
        for start, word in enumerate(words):
            for phrase, meaning in self._by_first.get(word.stem, ()):
                places = _met(phrase, words, start)
                if places and not _denied(words, places):
                    yield _Match(meaning, places)


def _met(phrase: Spoken, words: Sequence[Word], start: int) -> tuple[int, ...]:
    """Return the places of a phrase's words from ``start`` on, none where it is not met."""
    places = [start]
    for part in phrase.parts[1:]:
        last = places[-1]
        found = next((n for n in _near(words, last) if words[n].stem in part), None)
        if found is None or not _joined(words, last, found):
            return ()
        places.append(found)
    return tuple(places)


def _near(words: Sequence[Word], last: int) -> Iterator[int]:
    """Yield the places behind ``last`` that are near enough; light words take no room."""
    room = MOST_BETWEEN
    for place in range(last + 1, len(words)):
        yield place
        room -= not words[place].light
        if room < 0:
            return


def _joined(words: Sequence[Word], first: int, second: int) -> bool:
    """Return whether two words of a phrase may belong together: what is denied stands near."""
    between = words[first + 1 : second]
    if words[first].sentence != words[second].sentence or any(one.negates for one in between):
        return False
    if words[first].stem != NOT:
        return True
    return words[first].clause == words[second].clause and all(one.light for one in between)


def _denied(words: Sequence[Word], places: Sequence[int]) -> bool:
    """Return whether what was met is denied by what stands before it, or by an answer to it."""
    first = words[places[0]]
    before = [one for one in words[: places[0]] if one.clause == first.clause]
    if first.denied or [one.stem for one in before[-2:]] in _NOT_ONLY:
        return first.denied
    room = REACH
    for one in reversed(before):
        room -= not one.light
        if one.negates or not room:
            return one.negates
    return False


def _longest(matches: Iterable[_Match]) -> list[_Match]:
    """Return the matches without those whose words are part of what a longer one met."""
    found = [(one, set(one.places)) for one in dict.fromkeys(matches)]
    at: dict[int, list[set[int]]] = {}
    for one, places in found:
        for place in one.places:
            at.setdefault(place, []).append(places)
    return [one for one, places in found if not any(places < other for other in at[one.places[0]])]


def _heard(text: str, words: Sequence[Word], places: Sequence[int]) -> Heard:
    start, end = words[places[0]].start, words[places[-1]].end
    return Heard(start, end, text[start:end])


def _possible(where: Where, *asked: str | None) -> tuple[str, ...]:
    """Return the duties on which something can be, of those asked for."""
    return tuple(
        duty for duty in DUTIES
        if all(one in (None, duty) for one in asked) and any(a.holds({"duty": duty}) for a in where)
    )  # fmt: skip


def _points(
    meaning: PhraseMeaning, knowledge: Knowledge
) -> Iterator[tuple[str, HeardProposal, Where]]:
    """Yield kind, proposal and machines of all that a meaning points to and is known here."""
    checks, causes = knowledge.checks, knowledge.causes
    if meaning.caution in knowledge.rules:
        yield "cautions", HeardProposal(str(meaning.caution), (), ()), (Applies(),)
    for one in meaning.findings:
        if one.check in checks:
            yield "findings", HeardProposal(one.check, (), (), one), checks[one.check].applies
    for name in meaning.causes:
        if name in causes:
            yield "causes", HeardProposal(name, (), ()), causes[name].applies
    for name in meaning.checks:
        if name in checks:
            yield "checks", HeardProposal(name, (), ()), checks[name].applies
