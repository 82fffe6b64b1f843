"""The YAML reader takes JSON's scalars and nothing that YAML would read in a surprising way.

What YAML 1.1 makes of ``off``, ``011`` and ``12:30`` is in its type repository (yaml.org/type,
from memory): false, nine, and 750 in base sixty. Here all three are text.
"""

from typing import Any

import pytest

from engine.knowledge import KnowledgeError
from engine.knowledge.text import MAX_DEPTH, load_yaml

AS_TEXT = [
    "off", "on", "yes", "no", "NO", "True", "Null", "y",  # booleans and null of YAML 1.1
    "011", "0o11", "0x10", "0b1", "00",  # octal, hexadecimal, binary
    "12:30", "1:30:00", "190:20:30.15",  # base sixty
    "1_000", "+5", ".5", "1.", ".inf", "-.inf", ".nan",  # numbers that JSON does not have
    "2024-01-01", "2024-01-01T10:00:00Z",  # dates
    "=", "<<",
]  # fmt: skip
SCALARS = [
    ("0", 0), ("-7", -7), ("24", 24), ("0.4", 0.4), ("5e-3", 0.005), ("-1.5E+2", -150.0),
    ("true", True), ("false", False), ("null", None), ("~", None), ("", None),
    ("9" * 30, 10**30 - 1), ("'5'", "5"), ('"off"', "off"),
]  # fmt: skip
REFUSED = [
    ("a: 1\nb: 2\na: 3", "f.yaml:3:1", "key 'a' stands twice"),
    ("x:\n  1: a\n  '1': b", "f.yaml:3:3", "key '1' stands twice"),
    ("x: {a: 1, a: 2}", "f.yaml:1:11", "key 'a' stands twice"),
    ("a: &n 1\nb: *n", "f.yaml:2:4", "aliases"),
    ("x: !!timestamp 2024-01-01", "f.yaml:1:4", "tags"),
    ("x: !!bool off", "f.yaml:1:4", "tags"),
    ("x: !!binary aGk=", "f.yaml:1:4", "tags"),
    ("x: !!python/object/apply:os.getcwd []", "f.yaml:1:4", "tags"),
    ("!!map {a: 1}", "f.yaml:1:1", "tags"),
    ("x: !mine 5", "f.yaml:1:4", "tags"),
    ("? [a, b]\n: 1", "f.yaml:1:3", "a key is one word"),
    ("x: 1e400", "f.yaml:1:4", "too large"),
    (f"x: {'9' * 31}", "f.yaml:1:4", "more than 30 digits"),
    ("a: 1\n---\nb: 2", "f.yaml:2:1", "another document"),
    ("a: [1", "f.yaml", "expected"),
    ("a:\n\tb: 1", "f.yaml:2:1", "cannot start any token"),
    ("a: \x00", "f.yaml", "control characters"),
    ("a: b: c", "f.yaml:1:5", "not allowed in this context"),
]


@pytest.mark.parametrize("word", AS_TEXT)
def test_words_that_yaml_would_change_stay_text(word: str) -> None:
    """A word that YAML 1.1 would turn into something else is read as it stands."""
    assert load_yaml(f"x: {word}", "f.yaml") == {"x": word}


@pytest.mark.parametrize(("text", "value"), SCALARS)
def test_json_scalars_are_read(text: str, value: Any) -> None:
    """Numbers, true, false and null as JSON writes them are read as such, quoted ones as text."""
    found = load_yaml(f"x: {text}", "f.yaml")["x"]
    assert found == value
    assert type(found) is type(value)


@pytest.mark.parametrize(
    ("text", "place", "message"), REFUSED, ids=[text[:24] for text, _, _ in REFUSED]
)
def test_refused_with_file_line_and_column(text: str, place: str, message: str) -> None:
    """What is refused is named with its file, its line and its column."""
    with pytest.raises(KnowledgeError) as caught:
        load_yaml(text, "f.yaml")
    (fault,) = caught.value.faults
    assert fault.path.startswith(place)
    assert message in fault.message


def test_nesting_is_bounded() -> None:
    """Forty levels are read; the forty-first is refused where it begins, however many follow."""
    deep = "[" * MAX_DEPTH + "]" * MAX_DEPTH
    assert load_yaml(deep, "f.yaml") is not None
    with pytest.raises(KnowledgeError, match=rf"f\.yaml:1:{MAX_DEPTH + 1}: nested more than"):
        load_yaml("[" * 60, "f.yaml")
    with pytest.raises(KnowledgeError, match=r"f\.yaml:1:.*nest"):
        load_yaml("[" * 100_000, "f.yaml")


def test_a_text_that_unfolds_into_billions_is_refused_at_once() -> None:
    """Nine lists of nine aliases each, the classic bomb, stop at the first alias."""
    lines = ["a0: &a0 [x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 10)]
    with pytest.raises(KnowledgeError, match=r"f\.yaml:2:10: aliases"):
        load_yaml("\n".join(lines), "f.yaml")


def test_keys_are_text_and_keep_their_order() -> None:
    """A key that looks like a number or a boolean is text, and keys stay in file order."""
    found = load_yaml("2: a\n1: b\ntrue: c\nnull: d", "f.yaml")
    assert list(found.items()) == [("2", "a"), ("1", "b"), ("true", "c"), ("null", "d")]


def test_an_empty_text_is_nothing() -> None:
    """An empty text, or one with comments alone, is None; the shape layer speaks of it."""
    assert load_yaml("", "f.yaml") is None
    assert load_yaml("# nothing yet\n", "f.yaml") is None
