"""What callers say is heard where the cases say so, and not where they say it is not.

The cases are data (``tests/cases/words/FILE.yaml``); ``threewire kb cases`` runs the same.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from api.curation.cases import CaseFiles, WordsFile, read
from engine.hearing import Hearing, Listener
from engine.knowledge import Knowledge
from engine.knowledge.items import PhraseMeaning


@pytest.fixture(scope="module")
def listener(knowledge: Knowledge) -> Listener:
    """The phrases of the shipped base."""
    return Listener(knowledge)


@pytest.fixture(scope="module")
def found(knowledge: Knowledge) -> CaseFiles:
    """What the case files hold, read against the shipped base."""
    return read([Path(__file__).parents[1] / "cases" / "words"], knowledge)


def names(heard: Hearing) -> set[str]:
    """Return what is proposed, of every kind."""
    return {one.name for kind in vars(heard).values() for one in kind}


def test_words_are_heard_as_their_cases_say(found: CaseFiles, listener: Listener) -> None:
    """Each case hears its findings and cautions, and nothing of a file where it is silent."""
    wrong = {}
    for name, file in found.of(WordsFile).items():
        alone = listener.of_file(file.words)
        wrong |= {f"{name} {one.text}": one.fault(listener) for one in file.hears}
        wrong |= {f"{name} {one.text}": one.fault(alone) for one in file.silent}
    assert not found.faults
    assert {text: fault for text, fault in wrong.items() if fault} == {}


def test_every_file_of_words_has_cases(found: CaseFiles, knowledge: Knowledge) -> None:
    """No file of words is without a case file of its name, and no case file without words."""
    files = found.of(WordsFile)
    assert set(knowledge.words) == {Path(name).stem for name in files}
    assert all(Path(name).stem == file.words for name, file in files.items())


def _means(meaning: PhraseMeaning) -> set[str]:
    caution = {meaning.caution} if meaning.caution else set()
    return {one.of_check for one in meaning.findings} | {*meaning.causes, *meaning.checks} | caution


def test_every_phrase_is_heard_as_what_it_means(knowledge: Knowledge, listener: Listener) -> None:
    """No phrase is hidden by a longer one, or taken for a denial: each is heard as it stands."""
    deaf, count = [], 0
    for words in knowledge.words.values():
        for meaning in words.meanings:
            for phrase in meaning.phrases:
                count += 1
                said = " ".join(one.split("/")[0] for one in phrase.text.split())
                if not _means(meaning) <= names(listener.hear(said, meaning.duty)):
                    deaf.append(phrase.text)
    assert not deaf
    assert count >= 120


@pytest.mark.parametrize(
    ("text", "heard"),
    [
        ("It clicks.", {"relay-click=heard"}),
        ("No click.", {"relay-click=not-heard"}),
        ("It doesn\u2019t even click.", {"relay-click=not-heard"}),
        ("it dont click", {"relay-click=not-heard"}),
        ("It quit clicking.", {"relay-click=not-heard"}),
        ("It not only clicks.", {"relay-click=heard"}),
        ("It used to click.", set()),
        ("Not sure if it clicks.", set()),
        ("Does it click? No.", set()),
        ("Click: no, nothing.", set()),
        ("It moves, no lamp, it clicks.", {"relay-click=heard"}),
    ],
)
def test_a_negation_is_kept(text: str, heard: set[str], listener: Listener) -> None:
    """What is denied is not heard, or heard as the other; what is said beside a denial is heard."""
    assert names(listener.hear(text)) == heard


def test_a_proposal_names_the_words_it_came_from(listener: Listener) -> None:
    """Each place is given in characters of the text as typed, twice where it was said twice."""
    text = "Since I\u2019ve washed it it clicks, yes: CLICKS."
    click = next(one for one in listener.hear(text).findings if one.id == "relay-click")
    assert [text[one.start : one.end] for one in click.heard] == ["clicks", "CLICKS"]
    assert [one.words for one in click.heard] == ["clicks", "CLICKS"]


def test_a_duty_leaves_out_what_its_machines_cannot_have(listener: Listener) -> None:
    """Words for both duties are proposed for both; with a duty, only what it can have."""
    both = listener.hear("It won't stop.")
    assert [one.duties for one in both.cautions] == [("fuel-shutoff",), ("brake-release",)]
    brake = listener.hear("It won't stop.", "brake-release")
    assert names(brake) == {"brake-will-not-hold", "brake-response=will-not-hold"}


def test_what_a_shop_switched_off_is_not_proposed(knowledge: Knowledge) -> None:
    """A check that nobody in this shop can do is not proposed by the shipped words."""
    without = {name: one for name, one in knowledge.checks.items() if name != "relay-click"}
    heard = Listener(replace(knowledge, checks=without))
    assert names(heard.hear("No click.")) == set()
