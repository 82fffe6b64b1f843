"""The words of the base: short sentences, American spelling, one word for one thing."""

import re
from collections.abc import Iterator

from engine.knowledge import Knowledge
from tests.safety.forbidden import texts

MOST_WORDS = 20
# What the shop does not say, and what it says; ids (joined by hyphens) are left alone.
INSTEAD = {
    "aluminium": "aluminum", "ampere": "amp", "amperes": "amps", "bonnet": "hood",
    "centimetres": "inches", "centre": "center", "colour": "color", "dearest": "most expensive",
    "commonest": "most common", "earth": "ground", "earthed": "grounded", "energise": "energize",
    "energised": "energized", "energises": "energizes", "fibre": "fiber", "fitter": "technician",
    "grey": "gray", "hire": "rental", "litre": "liter", "loom": "harness", "mend": "repair",
    "mended": "repaired", "metre": "meter", "millimetre": "millimeter",
    "millimetres": "millimeters", "mould": "mold", "neighbouring": "neighboring",
    "petrol": "gasoline", "pressurised": "pressurized", "renew": "replace", "spanner": "wrench",
    "tap": "valve", "telephone": "phone", "torch": "flashlight", "tyre": "tire",
    "whilst": "while", "workshop": "shop",
}  # fmt: skip
TAP_BY_HAND = re.compile(r"[Tt]ap the part")  # a light blow
# Labels by which shops take one coil style for the other.
EITHER_WAY = re.compile(r"\b(case|body)-ground(ed)?\b")
ASKED_BACK = '"Case-grounded" means either to different people: ask which wires go in.'
PERSONS = re.compile(
    r"\b(guest|obeys?|betrays?|satisfied|drowned|robs?|starves|good health|no eye on)\b",
    re.IGNORECASE,
)


def prose(knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    """Yield each text of the base that a person reads, with the id of its item."""
    for kind in ("causes", "checks", "circuits", "rules", "tables"):
        for name, item in getattr(knowledge, kind).items():
            for key, value in item.raw.items():
                if key != "source":
                    for text in texts(value):
                        yield name, text


def sentences(text: str) -> list[str]:
    """Return the sentences of a text; an abbreviation or a decimal point ends none."""
    return re.split(r"(?<=[.!?])\s+(?=[A-Z0-9\"'{])", text)


def test_no_sentence_is_longer_than_twenty_words(knowledge: Knowledge) -> None:
    """A sentence has at most twenty words."""
    long = [
        (name, sentence)
        for name, text in prose(knowledge)
        for sentence in sentences(text)
        if len(sentence.split()) > MOST_WORDS
    ]
    assert long == []


def test_the_base_says_it_as_an_american_shop_does(knowledge: Knowledge) -> None:
    """No text says one of these words; the shop's word for it is told."""
    pattern = re.compile(rf"(?<![-\w])({'|'.join(INSTEAD)})(?![-\w])", re.IGNORECASE)
    found = [
        (name, text, f"say {INSTEAD[word.lower()]!r}")
        for name, text in prose(knowledge)
        for word in pattern.findall(TAP_BY_HAND.sub("", text))
    ]
    assert found == []


def test_a_coil_style_is_named_by_its_wires(knowledge: Knowledge) -> None:
    """No text names a coil style by its id, which shops take the wrong way around; it says
    whether a ground wire is in the plug. Only the check that asks back quotes the word."""
    found = [
        (name, text)
        for name, text in prose(knowledge)
        if EITHER_WAY.search(text.replace(ASKED_BACK, "").lower())
    ]
    assert found == []
    names = [coil.name for coil in next(iter(knowledge.circuits.values())).coils.values()]
    assert sorted(names) == [
        "coil grounded through its body",
        "coil with a ground wire in the plug",
    ]
    check = knowledge.checks["ground-wire-in-plug"]
    assert "Is there a ground wire in the plug?" in check.say
    assert ASKED_BACK in check.how


def test_parts_are_no_persons(knowledge: Knowledge) -> None:
    """No part obeys, is satisfied or in good health in the texts of the base."""
    assert [(n, t) for n, t in prose(knowledge) if PERSONS.search(t)] == []
