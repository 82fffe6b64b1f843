"""No text suggests a larger fuse, a bypass left in, or work under a machine held by its brake."""

import pytest

from engine.knowledge import Knowledge
from tests.safety.forbidden import bad, sentences, texts

BAD = [
    ("Fit a larger fuse.", "larger fuse"),
    ("If it blows again, use the next size up of fuse.", "larger fuse"),
    ("A fuse of a higher rating lets it run until evening.", "larger fuse"),
    ("Put a piece of foil round the fuse.", "larger fuse"),
    ("Use a nail in place of the fuse.", "larger fuse"),
    ("Run it without its fuse for a moment.", "larger fuse"),
    ("Leave the jumper on and drive to the yard.", "bypass left in"),
    ("The bridge can stay in until the switch arrives.", "bypass left in"),
    ("Bypass the seat switch and keep working.", "bypass left in"),
    ("Operate the machine with the interlock bridged.", "bypass left in"),
    ("Disconnect the interlock and try again.", "bypass left in"),
    ("Tie the lock up with a wire and drive it out.", "bypass left in"),
    ("Hold the brake off by hand while someone drives it in.", "bypass left in"),
    ("Crawl underneath and look at the lock.", "under a machine held by its brake"),
    ("Work under the machine while the brake holds it.", "under a machine held by its brake"),
    ("Reach beneath the machine with the brake set.", "under a machine held by its brake"),
]
GOOD = [
    "Never fit a larger fuse.",
    "A fuse of the same rating, once.",
    "A larger fuse does not protect the wire.",
    "Take the jumper off before you leave.",
    "A bridge is for the moment of the test and never left in.",
    "Do not operate with an interlock bypassed.",
    "Nobody goes under the machine while the brake alone holds it.",
    "Read the voltage under load at the machine.",
    "Go under only with the machine on stands and chocked.",
    "The pull is kept on by a welded contact.",
]


@pytest.mark.parametrize(("sentence", "kind"), BAD)
def test_bad_advice_is_caught(sentence: str, kind: str) -> None:
    """The patterns catch the advice that they are for."""
    assert kind in bad(sentence)


@pytest.mark.parametrize("sentence", GOOD)
def test_good_advice_is_let_through(sentence: str) -> None:
    """A sentence that forbids it, or speaks of something else, is not taken for bad advice."""
    assert bad(sentence) == []


@pytest.mark.parametrize("kind", ["causes", "checks", "circuits", "rules", "tables"])
def test_no_shipped_sentence_gives_it(kind: str, knowledge: Knowledge) -> None:
    """Of all sentences of the knowledge base none gives such advice."""
    found = [
        (name, sentence, bad(sentence))
        for name, item in getattr(knowledge, kind).items()
        for text in texts(item.raw)
        for sentence in sentences(text)
        if bad(sentence)
    ]
    assert found == []


def test_there_are_sentences_to_look_at(knowledge: Knowledge) -> None:
    """The search goes through some thousands of sentences, so that its silence says something."""
    count = sum(
        len(sentences(text))
        for kind in (knowledge.causes, knowledge.checks, knowledge.rules)
        for item in kind.values()
        for text in texts(item.raw)
    )
    assert count > 2000
