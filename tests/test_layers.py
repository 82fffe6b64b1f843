"""The engine is pure and a room says its law: read off the imports and calls."""

import ast
import re
import sys
from collections.abc import Iterator
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FILES = {
    path.relative_to(ROOT).as_posix(): path
    for package in ("api", "engine", "kb")
    for path in sorted((ROOT / package).rglob("*.py"))
}
ENGINE = [name for name in FILES if name.startswith("engine/")]
# Standard modules with which an answer could depend on more than the request and the base.
IMPURE = {
    "asyncio", "datetime", "email", "ftplib", "http", "io", "logging", "multiprocessing", "os",
    "platform", "random", "secrets", "select", "shutil", "signal", "smtplib", "socket", "sqlite3",
    "ssl", "subprocess", "sys", "tempfile", "time", "urllib", "uuid", "webbrowser",
}  # fmt: skip
ALLOWED = {
    # a setting for the linear algebra library, which must stand before NumPy is loaded
    "engine/__init__.py": {"os"},
    # experta logs on import; the gate takes its handler away again
    "engine/rules/experta_engine.py": {"logging"},
}
OUTSIDE = {"experta", "marshmallow", "numpy", "scipy", "snowballstemmer", "yaml"}
READS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "iterdir", "glob", "rglob"}
READER = "engine/knowledge/files.py"


@cache
def modules() -> dict[str, ast.Module]:
    """Return every module of the program, parsed."""
    return {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in FILES.items()}


@cache
def nodes(tree: ast.Module) -> tuple[ast.AST, ...]:
    """Return all that some code is made of."""
    return tuple(ast.walk(tree))


def imported(tree: ast.Module) -> Iterator[str]:
    """Yield the full name of every module that some code imports, inside functions too."""
    for node in nodes(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute here"
            yield node.module or ""


def packages(tree: ast.Module) -> set[str]:
    """Return the top-level packages that some code imports."""
    return {name.split(".")[0] for name in imported(tree)}


def called(tree: ast.Module) -> set[str]:
    """Return the names of everything that some code calls, methods by their last name."""
    found = set()
    for node in nodes(tree):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name):
                found.add(node.func.id)
            elif isinstance(node.func, ast.Attribute):
                found.add(node.func.attr)
    return found


def test_there_is_code_to_look_at() -> None:
    """Engine and service are some dozens of modules; the walk finds them."""
    assert len(ENGINE) > 25
    assert sum(name.startswith("api/") for name in modules()) > 15


def test_the_engine_knows_no_web() -> None:
    """The engine imports its own parts, the standard library and six libraries, and no Flask."""
    for name in ENGINE:
        others = packages(modules()[name]) - {"engine"} - set(sys.stdlib_module_names)
        assert others <= OUTSIDE, name


def test_the_engine_has_no_clock_chance_or_network() -> None:
    """No module of the engine imports time, random, os or anything else beside request and base."""
    for name in ENGINE:
        assert packages(modules()[name]) & IMPURE <= ALLOWED.get(name, set()), name


def test_only_one_module_reads_files() -> None:
    """Files are read in one place, and nothing is written or printed anywhere."""
    for name in ENGINE:
        reads = called(modules()[name]) & (READS | {"print", "input", "exec", "eval", "system"})
        allowed = {"read_text", "iterdir"} if name == READER else set()
        assert reads <= allowed, name


def test_the_engine_has_no_random_numbers() -> None:
    """NumPy's random numbers are not used either."""
    chance = {"random", "default_rng", "RandomState", "now", "today"}
    for name in ENGINE:
        found = nodes(modules()[name])
        assert not {one.attr for one in found if isinstance(one, ast.Attribute)} & chance, name


def test_experta_comes_through_one_door() -> None:
    """Only the gate imports experta, whose import needs help on newer Pythons."""
    named = [name for name in ENGINE if "experta" in packages(modules()[name])]
    assert named == ["engine/rules/experta_engine.py"]


@pytest.mark.parametrize(
    ("code", "packages_found"),
    [
        ("import flask", {"flask"}), ("from flask import Flask", {"flask"}),
        ("def f():\n    import time", {"time"}), ("import numpy.linalg as la", {"numpy"}),
        ("if True:\n    from api.cli.main import main", {"api"}),
    ],
)  # fmt: skip
def test_no_import_hides(code: str, packages_found: set[str]) -> None:
    """An import is found wherever it stands and however it is written."""
    assert packages(ast.parse(code)) == packages_found


@pytest.mark.parametrize("code", ["open('x')", "p.read_text()", "x = [q.glob('*') for q in r]"])
def test_no_reading_hides(code: str) -> None:
    """A call that reads a file is found, on its own or as a method."""
    assert called(ast.parse(code)) & READS


def room_of(name: str) -> str:
    """Return the room that a module (dotted) stands in: ``api.desk.pages`` stands in api.desk."""
    return ".".join(name.split(".")[:2])


def test_no_circle_between_rooms() -> None:
    """Rooms can be put in an order in which each uses only those before it, imports inside
    functions counted; and nothing that is shipped uses the tests."""
    found: dict[str, set[str]] = {}
    for path, tree in modules().items():
        assert "tests" not in packages(tree), path
        here = room_of(path.removesuffix(".py").removesuffix("/__init__").replace("/", "."))
        if "." not in here or here.endswith(("__main__", ".docs")):
            continue  # a package gathers what its rooms offer; docs hold examples of callers
        there = {room_of(name) for name in imported(tree) if name.startswith(("api.", "engine."))}
        found.setdefault(here, set()).update(there - {here})
    assert len(found) > 20
    TopologicalSorter(found).prepare()  # raises CycleError, naming the circle


def test_a_room_says_its_law() -> None:
    """The docstring of a room's ``__init__`` says in a sentence what it is for."""
    laws = [
        name
        for name in modules()
        if re.fullmatch(r"(api|engine)/(\w+/__init__|[a-z]\w*)\.py", name)
    ]
    assert len(laws) > 20
    for name in laws:
        assert len(ast.get_docstring(modules()[name]) or "") > 30, name
