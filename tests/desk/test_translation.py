"""What people read can be said in another language: each text stands whole and marked."""

import ast
import json
import re
from collections.abc import Iterator
from gettext import NullTranslations
from html.parser import HTMLParser
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.frontend import parse_mapping_cfg
from flask import Flask
from jinja2 import Environment, nodes

from api import create_app, settings, translation
from api.desk import pages
from engine.knowledge.text import load_yaml
from tests.desk.support import BRAKE, Browser
from tests.desk.test_safety import call_of

API = Path(translation.__file__).parent
KB = API.parent / "kb"

DESK = API / "desk"
TEMPLATES = sorted((DESK / "templates/desk").glob("*.html"))
NAMES = {"threewire", "desk", "A4"}  # of the program and of paper: the same in every language
READ_OUT = ("aria-label", "alt", "title", "placeholder", "label")
LETTERS = re.compile(r"[^\W\d_]{2,}")
SENTENCE = re.compile(r"^[A-Z][^=<>{}]*[a-z] [a-z]")
ATTRIBUTE = re.compile(r' (?:class|data-\w+|aria-(?:invalid|describedby))="[^"]*"')
VALUE = "\0"
MARKS = ("_", "N_", "gettext", "ngettext")


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
    pages.translate(environment)
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
    """A language in which each text stands between two signs, and what is put into it outside of
    them; it notes what it was asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: set[str] = set()

    def gettext(self, message: str) -> str:
        self.asked.add(message)
        return "⟦" + re.sub(r"%[(][a-z_]+[)][sd]", r"⟧\g<0>⟦", message) + "⟧"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        self.asked.add(msgid1)
        return self.gettext(msgid1 if n == 1 else msgid2)


@pytest.fixture
def marking(monkeypatch: pytest.MonkeyPatch) -> _Marking:
    """The language that marks, in place of every other."""
    found = _Marking()
    monkeypatch.setattr(translation, "catalogue", lambda _: found)
    return found


def _strings(row: object) -> Iterator[str]:
    """Yield the texts of data, blanks made one."""
    if isinstance(row, str):
        yield " ".join(row.split())
    elif isinstance(row, dict | list):
        for one in row.values() if isinstance(row, dict) else row:
            yield from _strings(one)


@pytest.fixture(scope="module")
def knowledge_says() -> set[str]:
    """All that the knowledge says, in pieces."""
    files = [load_yaml(one.read_text("utf-8"), one.name) for one in sorted(KB.rglob("*.yaml"))]
    return set().union(*map(_pieces, _strings(files)))


def _pieces(text: str) -> list[str]:
    """Return a text in pieces without numbers, addresses and signs around them."""
    parts = re.split(r"\n|(?<=[.;:…,]) |https?:\S*|\b\d+\b,?", text)
    return [" ".join(one.split()).strip("…. ()“”≠+\u2212:;,") for one in parts]


def _left(page: str, data: set[str]) -> list[str]:
    """Return what people read of a page that is neither a marked text nor from the data."""
    found = _Words()
    found.feed(page)
    own = re.sub(r"⟦[^⟦⟧]*⟧", "\n", "\n".join(found.found))
    return [one for one in _pieces(own) if words_of(one) and one not in data]


def test_in_another_language_nothing_stays_english_but_the_knowledge(
    app: Flask, desk: Browser, marking: _Marking, knowledge_says: set[str]
) -> None:
    """On the pages of a call each text comes from the language, and pybabel finds it, whichever
    room made it; what does not is the knowledge's own, the engine's answer, or was typed."""
    case = desk.start({**BRAKE, "fleet_number": "words"})
    desk.follow(desk.answer(case, "plunger-action", outcome="no-movement"))
    desk.follow(desk.answer(case, "pull-pin-voltage", value="9", unit="V", plug="removed"))
    desk.follow(desk.answer(case, "pull-winding-ohms", value="0.4", unit="ohm", celsius="20"))
    call = call_of(app, desk, case, "caller")
    checks = ("pull-pin-voltage", "pull-winding-ohms")
    steps = [dict(call.desk.step(call.inquiry, name)) for name in checks]
    own = ["words", "local", "much", "mA", "mV", "mohm", "kohm", "Mohm"]
    told = [call.answer, steps, [*BRAKE.values(), *own], "Pull relay clicks but its"]
    data = knowledge_says.union(*map(_pieces, _strings(told)))
    left = {"refused": _left(desk.send(f"{case}/answers", value="much", unit="V").text, data)}
    for part in ("", "?check=pull-pin-voltage", "?check=pull-winding-ohms", "?change=1",
                 "?find=relay", "/machine", "/close", "/hand-over", "/sheet", "/drawing",
                 "/meaning?check=relay-click", "?as=technician"):  # fmt: skip
        left[part] = _left(desk.get(f"{case}{part}").text, data)
    desk.follow(desk.answer(case, "coil-temperature", outcome="smoking"))
    left["stop"] = _left(desk.page.text, data)
    desk.get(f"{case}/close")
    desk.follow(desk.send(f"{case}/close", cause="outside", minutes="5"))
    left["closed"] = _left(desk.page.text, data)
    left["sheet"] = _left(desk.get(f"{case}/sheet").text, data)
    for address in ("/desk", "/desk/call", "/desk/nowhere", "/desk/sign-in",
                    "/desk/resume?number=123"):  # fmt: skip
        left[address] = _left(desk.get(address).text, data)
    assert {name: words for name, words in left.items() if words} == {}
    block = re.search(r'<template id="words">(.*?)</template>', desk.page.text)
    assert block is not None
    assert all(one.startswith("⟦") for one in json.loads(block[1]).values())
    assert marking.asked <= extracted()


def extracted() -> set[str]:
    """Return the texts that pybabel takes by its settings."""
    with (API / "babel.cfg").open(encoding="utf-8") as settings:
        methods, options = parse_mapping_cfg(settings)
    return {
        message if isinstance(message, str) else message[0]
        for _, _, message, _, _ in extract_from_dir(API, methods, options)
    }


def test_who_is_turned_away_reads_it_in_the_same_language(app: Flask, marking: _Marking) -> None:
    """The page that asks for a key, which the gate shows before any view, is in it too."""
    service = app.extensions["threewire"]
    with_keys = settings.load({"database": service.settings.database, "require_keys": "yes"}, {})
    locked = create_app({
        "KNOWLEDGE": service.knowledge, "SETTINGS": with_keys, "DATABASE": service.database,
    })  # fmt: skip
    page = locked.test_client().get("/desk")
    assert page.status_code == 401
    assert "⟦Sign in⟧" in page.text


def test_a_word_in_the_middle_keeps_its_capital(
    desk: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a text that begins a line only the first letter is raised: some languages have capitals
    within."""
    words = NullTranslations()
    monkeypatch.setattr(words, "gettext", lambda text: f"es war das Rad ({text})")
    monkeypatch.setattr(translation, "catalogue", lambda _: words)
    assert ">Es war das Rad (nothing was wrong)<" in desk.get(f"{desk.start()}/close").text
