"""How tests are marked and handed out; what they share is loaded where they are run."""

# isort: off
import tests.loading  # noqa: F401

# isort: on
import gc
import inspect
import re
import signal
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import CodeType
from typing import Any

import pytest

from tests.figures import pytest_terminal_summary

__all__ = ["pytest_terminal_summary"]

SLOW = str(Path(__file__).parent / "reference")  # comparisons with other programs, at length
# files whose tests share what is dear: by what it is
TOGETHER = {
    "survey": re.compile(
        r"tests/(curation/|web/test_(schemathesis|answers_fit)|access/test_roles)"
    ),
    "pull": re.compile(r"tests/(traces/|web/test_traces|desk/test_recording)"),
    "worked": re.compile(r"tests/(cases/test_worked_cases|safety/test_(answers|share))"),
}
# what starts a process
STARTERS = {
    "subprocess",
    "Running",
    "forking",
    "Forked",
    "serving",
    "pexpect",
    "sync_playwright",
    "opened",
    "Console",
    "ngspice",
}


def pytest_configure(config: pytest.Config) -> None:
    """Load what tests share, but not in the process that only hands them out.

    Let Ctrl-C through: a run in the background of a script is started with it ignored, and what
    the tests start and interrupt would inherit that.
    """
    hands_out = config.getoption("dist", "no") != "no" and not hasattr(config, "workerinput")
    if not hands_out:
        config.pluginmanager.import_plugin("tests.fixtures")
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(tryfirst=True)
def pytest_sessionfinish() -> None:
    """Look once for what nothing refers to; pytest and the interpreter would look three times
    through all that is kept."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give a file's tests to one worker, which makes once what they share; so with the files of
    ``TOGETHER``."""
    from xdist.scheduler import LoadFileScheduling

    class Together(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = super()._split_scope(nodeid)
            return next((what for what, files in TOGETHER.items() if files.match(file)), file)

    config.option.loadscopereorder = False
    return Together(config, log)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark ``live`` what starts a process, be it a server, a database or a browser, by what it asks
    for, and ``slow`` what stands in tests/reference; other slow tests carry the mark themselves.

    Files with such tests come first, so that no worker is left with a long one at the end.
    """
    for item in items:
        if str(item.path).startswith(SLOW):
            item.add_marker("slow")
        if isinstance(item, pytest.Function) and _starts(item):
            item.add_marker("live")
    long = {one.path for one in items for mark in ("live", "slow") if one.get_closest_marker(mark)}
    items.sort(key=lambda one: one.path not in long)


def _starts(item: pytest.Function) -> bool:
    given = item.callspec.params.values() if hasattr(item, "callspec") else ()
    if "postgresql" in item.fixturenames or "postgresql" in given:
        return True
    fixtures = item._fixtureinfo.name2fixturedefs
    used = [one.func for name in item.fixturenames for one in fixtures.get(name, ())]
    return any(_uses_a_starter(function) for function in [*used, item.function])


@cache
def _uses_a_starter(function: Callable[..., object]) -> bool:
    """Return whether a function, or one inside it or of its file that it calls, uses one."""
    plain = inspect.unwrap(function)
    code = getattr(plain, "__code__", None)
    todo, names = [code] if code else [], set()
    while todo:
        one = todo.pop()
        todo += [inner for inner in one.co_consts if isinstance(inner, CodeType)]
        for name in {*one.co_names} - names:
            other = plain.__globals__.get(name)
            if inspect.isfunction(other) and other.__module__ == plain.__module__:
                todo.append(other.__code__)
        names |= {*one.co_names}
    return bool(names & STARTERS)
