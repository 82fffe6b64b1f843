"""Hearing: what a caller's words may mean, by the phrases of kb/words.

It proposes and never takes: whoever listens confirms. Words are compared by their stems, in their
order, with few others in between; what is denied is not heard.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

from engine.knowledge import Knowledge
from engine.knowledge.items import DUTIES, Applies, Meaning
from engine.knowledge.speech import NOT, Spoken, Word, words_of

MOST_BETWEEN = 2  # so many other words may stand between two words of a phrase
REACH = 2  # a negation bears on so many words behind it
Where = tuple[Applies, ...]


@dataclass(frozen=True)
class Heard:
    """Words of the text that a phrase met: from character ``start`` to before ``end``."""

    start: int
    end: int
    words: str


@dataclass(frozen=True)
class Proposal:
    """What the words may mean: a check with its outcome, a cause, a check to do or a caution.

    ``duties`` are those on which it can be so; ``heard`` are the words it came from.
    """

    id: str
    duties: tuple[str, ...]
    heard: tuple[Heard, ...]
    outcome: str = ""

    def also(self, duties: Iterable[str], heard: Heard) -> "Proposal":
        """Return the proposal with more words that it came from."""
        every = tuple(dict.fromkeys((*self.heard, heard)))
        possible = tuple(one for one in DUTIES if one in {*self.duties, *duties})
        return replace(self, duties=possible, heard=every)


@dataclass(frozen=True)
class Hearing:
    """What a text may mean, each kind in the order in which it was said."""

    cautions: tuple[Proposal, ...] = ()
    findings: tuple[Proposal, ...] = ()
    causes: tuple[Proposal, ...] = ()
    checks: tuple[Proposal, ...] = ()


@dataclass(frozen=True)
class _Match:
    """A phrase met in a text: its meaning and the places of its words."""

    meaning: Meaning
    places: tuple[int, ...]


class Listener:
    """The phrases of a knowledge base, ready to be looked for."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self._by_first: dict[str, list[tuple[Spoken, Meaning]]] = {}
        for words in knowledge.words.values():
            for meaning in words.meanings:
                for phrase in meaning.phrases:
                    for first in phrase.parts[0]:
                        self._by_first.setdefault(first, []).append((phrase, meaning))

    def hear(self, text: str, duty: str | None = None) -> Hearing:
        """Return what a text may mean, of one duty only where it is given."""
        words = words_of(text)
        found: dict[str, dict[tuple[str, str], Proposal]] = {one.name: {} for one in fields(Hearing)}
        for match in sorted(_longest(self._matches(words)), key=lambda one: one.places):
            heard = _heard(text, words, match.places)
            for kind, name, outcome, where in _points(match.meaning, self.knowledge):
                duties = _possible(where, match.meaning.duty, duty)
                had = found[kind].get((name, outcome), Proposal(name, (), (), outcome))
                if duties:
                    found[kind][name, outcome] = had.also(duties, heard)
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
        found = next(
            (n for n in range(last + 1, min(last + 2 + MOST_BETWEEN, len(words)))
             if words[n].stem in part and _joined(words, last, n)), None,
        )  # fmt: skip
        if found is None:
            return ()
        places.append(found)
    return tuple(places)


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
    if first.denied:
        return True
    room = REACH
    for one in reversed([one for one in words[: places[0]] if one.clause == first.clause]):
        room -= not one.light
        if one.negates or not room:
            return one.negates
    return False


def _longest(matches: Iterable[_Match]) -> list[_Match]:
    """Return the matches without those whose words are part of what a longer one met."""
    found = list(dict.fromkeys(matches))
    return [
        one for one in found
        if not any(set(one.places) < set(other.places) for other in found)
    ]  # fmt: skip


def _heard(text: str, words: Sequence[Word], places: Sequence[int]) -> Heard:
    start, end = words[places[0]].start, words[places[-1]].end
    return Heard(start, end, text[start:end])


def _possible(where: Where, *asked: str | None) -> tuple[str, ...]:
    """Return the duties on which something can be, of those asked for."""
    return tuple(
        duty for duty in DUTIES
        if all(one in (None, duty) for one in asked) and any(a.holds({"duty": duty}) for a in where)
    )  # fmt: skip


def _points(meaning: Meaning, knowledge: Knowledge) -> Iterator[tuple[str, str, str, Where]]:
    """Yield kind, id, outcome and machines of all that a meaning points to and is known here."""
    rules, checks, causes = knowledge.rules, knowledge.checks, knowledge.causes
    if meaning.caution in rules:
        yield "cautions", str(meaning.caution), "", (Applies(),)
    for one in meaning.findings:
        if one.check in checks:
            yield "findings", one.check, one.outcome, checks[one.check].applies
    for name in meaning.causes:
        if name in causes:
            yield "causes", name, "", causes[name].applies
    for name in meaning.checks:
        if name in checks:
            yield "checks", name, "", checks[name].applies
