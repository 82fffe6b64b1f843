"""Speech: what people type as they talk, as words with their stems, their places and negations.

Plain rules about English, none about the trade: what callers say of it stands in kb/words.
"""

import functools
import re
from dataclasses import dataclass, replace

import snowballstemmer

NOT = "not"  # the stem of every plain negation

_TOKEN = re.compile(
    r"[^\W\d_]+(?:['\u2019][^\W\d_]+)*|\d+|[.,;:!?\n]|(?<=\s)[-\u2013\u2014]+(?=\s)"
)
_DASHES = "-\u2013\u2014"
_ENDS = frozenset(f".;!?:{_DASHES}\n")  # of a sentence; a comma ends a clause
_NO = frozenset(("no", "nope", "none", "never", "negative"))  # answers of one word
_PLAIN_NOT = frozenset(("no", "not", "never", "without", "cannot", "neither", "nor", "ain't"))
_SHORT_NOT = re.compile(
    r".*n't|(?:is|are|was|were|do|does|did|has|have|had|ca|wo|wouldn?|couldn?|shouldn?|ai)nt"
)
_NOTHING = frozenset(("nothing", "none", "nobody"))
_NO_MORE = frozenset(("stop", "quit"))  # before a word in -ing: "quit clicking"
_UNSURE = frozenset(("know", "sure", "certain", "think"))  # behind a negation
_BREAKS = frozenset(("but", "and", "then", "though", "because", "plus"))
_FROM_THEN = frozenset(("since", "after", "before", "until"))  # begin a clause, and say something
_SUBJECTS = frozenset(("it", "she", "he", "i", "they", "we", "you"))
# what a negation passes through: "can't get it to click", "didn't even click"
_PASSED_THROUGH = (
    "get gets got getting hear heard see saw seen feel felt want wants let make makes come comes "
    "go goes going seem seems any anything even ever always actually all just"
)
_LIGHT = frozenset(_PASSED_THROUGH.split())
_SAYING_NOTHING = (
    "a an the it its it's is are was were be been being am i i'm im i've me my mine we our us you "
    "your he she his her he's she's they their them this that that's these those do does did "
    "doing has have had having will would can could really very quite kind sort of to at for about "
    "there there's please also so or when whenever while as if once like uh um well now"
)
_FILLERS = _BREAKS | frozenset(_SAYING_NOTHING.split())
_stemmer = snowballstemmer.stemmer("english")


@dataclass(frozen=True)
class Word:
    """A word that says something, with its place in the text (``end`` is behind it).

    ``clause`` and ``sentence`` count from 0. A word that ``negates`` denies what comes behind it; a
    ``light`` one lets that through; a ``denied`` one is taken back ("any smoke? no").
    """

    stem: str
    start: int
    end: int
    clause: int = 0
    sentence: int = 0
    negates: bool = False
    light: bool = False
    denied: bool = False


@dataclass(frozen=True)
class _Token:
    typed: str
    start: int
    end: int

    @property
    def is_word(self) -> bool:
        return self.typed[0].isalnum()


@functools.lru_cache(4096)
def stem(word: str) -> str:
    """Return the stem of a lower-case word; every plain negation has the stem ``not``."""
    if word in _PLAIN_NOT or _SHORT_NOT.fullmatch(word):
        return NOT
    return str(_stemmer.stemWord(word.removesuffix("'s")))


def words_of(text: str) -> list[Word]:
    """Return the words of a text that say something, in their order."""
    tokens = [
        _Token(found.group().lower().replace("\u2019", "'"), found.start(), found.end())
        for found in _TOKEN.finditer(text)
    ]
    words: list[Word] = []
    denied: set[int] = set()
    clause = sentence = 0
    for place, token in enumerate(tokens):
        if not token.is_word:
            clause += 1
            sentence += token.typed in _ENDS
            if _is_denied(tokens[place : place + 3]):
                denied.add(sentence - 1)
            continue
        before = tokens[place - 1].typed if place else ""
        clause += token.typed in _BREAKS | _FROM_THEN or _begins_clause(token.typed, before)
        if token.typed not in _FILLERS:
            words.append(_word(token, clause, sentence, before, words))
        elif token.typed == "to" and before == "used":
            words[-1] = replace(words[-1], negates=True)  # "used to click": not any more
    return [replace(one, denied=one.sentence in denied) for one in words]


def _is_denied(tokens: list[_Token]) -> bool:
    """Return whether a mark and what follows it say no to what stands before: "smoke? no"."""
    mark, said, behind = [*(one.typed for one in tokens), ".", ".", "."][:3]
    return mark in f"?:{_DASHES}" and said in _NO and (mark == "?" or behind in _ENDS | {","})


def _begins_clause(typed: str, before: str) -> bool:
    """Return whether a subject begins a clause of its own: "won't start it clicks"."""
    return typed in _SUBJECTS and before not in _FILLERS | _LIGHT and stem(before) != NOT


def _word(token: _Token, clause: int, sentence: int, before: str, words: list[Word]) -> Word:
    """Return a token as a word; "quit clicking" makes the word before it a negation."""
    root = stem(token.typed)
    if words and token.typed.endswith("ing") and stem(before) in _NO_MORE:
        twice = len(words) > 1 and words[-2].negates  # "won't stop smoking" denies nothing
        words[-1] = replace(words[-1], negates=not twice)
        if twice:
            words[-2] = replace(words[-2], negates=False)
    unknown = token.typed in _UNSURE and stem(before) == NOT  # "don't know if it clicks"
    return Word(
        root, token.start, token.end, clause, sentence,
        root == NOT or token.typed in _NOTHING or unknown, token.typed in _LIGHT,
    )  # fmt: skip


@dataclass(frozen=True)
class Spoken:
    """A phrase as it is looked for: in each place the stems of the words that may stand there."""

    text: str
    parts: tuple[frozenset[str], ...]


def spoken(text: str) -> Spoken:
    """Return a phrase as it is looked for. Raises ValueError where it has no word to go by."""
    parts = []
    for place in text.split():
        found = [words_of(one) for one in place.split("/")]
        if len(found) > 1 and any(len(one) != 1 for one in found):
            raise ValueError(f"'{place}': each word beside a / is one word that says something")
        if len(found) > 1:
            parts.append(frozenset(one[0].stem for one in found))
        else:
            parts += [frozenset((one.stem,)) for one in found[0]]
    if not parts or all(part == {NOT} for part in parts):
        raise ValueError(f"'{text}' has no word to go by")
    return Spoken(text, tuple(parts))
