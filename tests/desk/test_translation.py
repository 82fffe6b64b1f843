"""The desk's own texts can be said in another language: each stands whole and marked."""

import ast
import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.frontend import parse_mapping_cfg
from babel.support import NullTranslations
from flask import Flask
from jinja2 import Environment, nodes

from api.desk import translation
from tests.desk.support import BRAKE, Browser

DESK = Path(translation.__file__).parent
TEMPLATES = sorted((DESK / "templates/desk").glob("*.html"))
NAMES = {"threewire", "desk", "A4"}  # of the program and of paper: the same in every language
READ_OUT = ("aria-label", "alt", "title", "placeholder", "label")
LETTERS = re.compile(r"[^\W\d_]{2,}")
SENTENCE = re.compile(r"^[A-Z][^=<>{}]*[a-z] [a-z]")
ATTRIBUTE = re.compile(r' (?:class|data-\w+|aria-(?:invalid|describedby))="[^"]*"')
VALUE = "\0"
MARKS = ("_", "gettext", "ngettext")


class _Words(HTMLParser):
    """Collects what people read or hear of a page, without keys and what is drawn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("kbd", "svg", "template"):
            self.open.append(tag)
        self.found += [value or "" for name, value in attrs if name in READ_OUT]

    def handle_endtag(self, tag: str) -> None:
        if self.open and tag == self.open[-1]:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if not self.open:
            self.found.append(data)


def words_of(page: str) -> list[str]:
    """Return the words of a page that people read or hear."""
    found = _Words()
    found.feed(page)
    return [word for text in found.found for word in LETTERS.findall(text) if word not in NAMES]


def _literal(node: nodes.Node) -> str:
    """Return what of an expression's value stands in the template itself."""
    if isinstance(node, nodes.Const):
        return str(node.value) if isinstance(node.value, str) else VALUE
    if isinstance(node, nodes.CondExpr):
        return _literal(node.expr1) + (_literal(node.expr2) if node.expr2 else "")
    if isinstance(node, nodes.Filter) and node.name == "safe" and node.node is not None:
        return _literal(node.node)
    return VALUE


def _page(node: nodes.Node) -> Iterator[str]:
    """Yield a template's own text in its order, with a sign for every value."""
    if isinstance(node, nodes.Output):
        for one in node.nodes:
            yield one.data if isinstance(one, nodes.TemplateData) else _literal(one)
    elif not isinstance(node, nodes.Expr):
        for child in node.iter_child_nodes():
            yield from _page(child)


def _handed_on(template: nodes.Template) -> Iterator[str]:
    """Yield the texts that a template hands to a macro, unmarked."""
    for call in template.find_all(nodes.Call):
        if not (isinstance(call.node, nodes.Name) and call.node.name in MARKS):
            given = map(_literal, (*call.args, *(one.value for one in call.kwargs)))
            yield from (one for one in given if re.match(r"[A-Z][a-z]", one) or SENTENCE.match(one))


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda one: one.stem)
def test_a_template_has_no_words_of_its_own(path: Path) -> None:
    """What people read of a template is a marked text or a value, whichever branch is taken."""
    environment = Environment(autoescape=True)
    translation.set_up(environment)
    template = environment.parse(path.read_text("utf-8"))
    text = ATTRIBUTE.sub("", "".join(_page(template)))  # of a piece that stands inside a tag
    assert words_of(text) == []
    assert list(_handed_on(template)) == []


def _unmarked(tree: ast.Module) -> Iterator[str]:
    """Yield the sentences of a module that are neither marked nor a docstring."""
    passed = set[int]()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            passed.add(id(node.value))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            passed |= {id(one) for one in node.args} if node.func.id in MARKS else set()
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) and id(node) not in passed else None
        if isinstance(text, str) and SENTENCE.match(text):
            yield text


def test_python_and_script_have_no_sentence_that_is_not_marked() -> None:
    """No module of the desk says a sentence outside of gettext, and the page gives the script its
    texts."""
    found = {
        path.name: said
        for path in sorted(DESK.glob("*.py"))
        if (said := list(_unmarked(ast.parse(path.read_text("utf-8")))))
    }
    script = re.sub(r"//.*|/\*.*?\*/", "", (DESK / "static/desk.js").read_text("utf-8"))
    said = [one for one in re.findall(r'["`\']([^"`\'\n]*)["`\']', script) if SENTENCE.match(one)]
    assert (found, said) == ({}, [])


class _Marking(NullTranslations):
    """A language in which each text stands between two signs; it notes what it was asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: set[str] = set()

    def gettext(self, message: str) -> str:
        self.asked.add(message)
        return f"⟦{message}⟧"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        self.asked.add(msgid1)
        return f"⟦{msgid1 if n == 1 else msgid2}⟧"


@pytest.fixture
def marking(monkeypatch: pytest.MonkeyPatch) -> _Marking:
    """The language that marks, in place of every other."""
    found = _Marking()
    monkeypatch.setattr(translation, "catalogue", lambda _: found)
    return found


def _values_marked(app: Flask) -> None:
    """Let every value that a template shows stand between two other signs."""

    def shown(value: object) -> object:
        return f"«{value}»" if type(value) is str and LETTERS.search(value) else value

    app.jinja_env.finalize = shown
    app.jinja_env.bytecode_cache = None  # a template that is made already keeps to how it was made
    app.jinja_env.cache.clear()


def _left(page: str) -> list[str]:
    """Return the words of a page that are neither of a marked text nor a value."""
    while page != (bare := re.sub(r"⟦[^⟦⟧]*⟧|«[^«»]*»", "", page)):
        page = bare
    return words_of(bare)


def test_in_another_language_no_text_of_the_desk_stays_english(
    app: Flask, desk: Browser, marking: _Marking
) -> None:
    """On the main pages each text of the desk comes from the language, and pybabel finds it."""
    case = desk.start({**BRAKE, "fleet_number": "words"})
    desk.follow(desk.answer(case, "plunger-action", outcome="no-movement"))
    desk.get(f"{case}?check=pull-pin-voltage")
    _values_marked(app)
    left = {"refused": _left(desk.send(f"{case}/answers", value="much", unit="V").text)}
    for part in ("", "?check=pull-winding-ohms", "?change=1", "?find=relay", "/machine", "/close",
                 "/hand-over", "/sheet", "/recording", "/drawing",
                 "/meaning?check=relay-click"):  # fmt: skip
        left[part] = _left(desk.get(f"{case}{part}").text)
    for address in ("/desk", "/desk/call", "/desk/sums", "/desk/sums/feed-drop", "/desk/nowhere",
                    "/desk/sign-in", "/desk/resume?number=123"):  # fmt: skip
        left[address] = _left(desk.get(address).text)
    assert {name: words for name, words in left.items() if words} == {}
    block = re.search(r'<template id="words">(.*?)</template>', desk.page.text)
    assert block is not None
    assert all(one.startswith("⟦") for one in json.loads(block[1]).values())
    assert marking.asked <= extracted()


def extracted() -> set[str]:
    """Return the texts that pybabel takes from the desk by its settings."""
    with (DESK / "babel.cfg").open(encoding="utf-8") as settings:
        methods, options = parse_mapping_cfg(settings)
    return {
        message if isinstance(message, str) else message[0]
        for _, _, message, _, _ in extract_from_dir(DESK, methods, options)
    }
