"""What this browser was told of a case: each caution once a call, STOP cards until acknowledged.

A caution counts as told where a page had it and that page was acted on: the form that starts the
call with its tick, a step that was answered, a STOP card that was read out. Nothing that anybody
else answered counts. What is kept are digests of texts in a cookie; without one, all is told each
time, and whoever sits down with another name or key begins anew.
"""

import hashlib
import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib import resources

from flask import Response, g, request

from api.desk import csrf
from api.desk.pages import keep_cookie
from api.strict_json import Json
from engine import Knowledge
from engine.knowledge.rule_language import Group, MachineTest
from engine.knowledge.text import load_yaml
from engine.rules.cautions import caution_text

COOKIE = "threewire_desk_told"
_MOST = 3600  # characters of a cookie that every browser keeps; the latest cases stay
_LETTERS = 6
_CASE = re.compile(r"\d{8}", re.ASCII)
_MARK = re.compile(rf"[0-9a-f]{{{_LETTERS}}}", re.ASCII)


@lru_cache(maxsize=1)
def stops() -> Mapping[str, Mapping[str, str]]:
    """Return the cautions that stop a call, by id: what stands over them and what happens next."""
    file = resources.files("api.desk").joinpath("stops.yaml")
    found: Mapping[str, Mapping[str, str]] = load_yaml(file.read_text("utf-8"), file.name)
    return found


def of_machine(knowledge: Knowledge, machine: Json) -> dict[str, str]:
    """Return the cautions, by id, that hold for a machine before anything is found.

    They are read out when a call is started, or joined.
    """
    return {
        name: caution_text(knowledge.rules[name])
        for name, tests in knowledge.machine_cautions.items()
        if all(machine.get(test.field) in (test.values or ()) for test in tests)
    }


def is_of_machine(knowledge: Knowledge, caution: str) -> bool:
    """Return whether a caution hangs on the machine alone, whatever is found on it."""
    tests = knowledge.programs[caution].walk()
    return all(isinstance(one, MachineTest | Group) for one in tests)


def untold(number: str, texts: Iterable[str]) -> list[str]:
    """Return the cautions that this browser was not told of a case yet, each once."""
    known = _kept().get(number, frozenset())
    return [one for one in dict.fromkeys(texts) if mark(one) not in known]


def tell(response: Response, number: str, marks: Iterable[str]) -> Response:
    """Keep in the browser that cautions of a case were told, and return the response."""
    kept, new = _kept(), {one for one in marks if _MARK.fullmatch(one)}
    known = kept.pop(number, frozenset())
    if not new <= known:
        rows = [*kept.items(), (number, known | new)]
        latest = "|".join(f"{n}:{'.'.join(sorted(m))}" for n, m in rows)
        g.desk_told = latest[-_MOST:]
        keep_cookie(response, COOKIE, g.desk_told)
    return response


def forget(response: Response) -> Response:
    """Forget what this browser was told: somebody else sits here. Return the response."""
    response.delete_cookie(COOKIE, path=csrf.PATH)
    return response


def _kept() -> dict[str, frozenset[str]]:
    text = g.get("desk_told") or request.cookies.get(COOKIE, "")[-_MOST:]
    rows = (one.partition(":") for one in text.split("|"))
    return {case: frozenset(marks.split(".")) for case, _, marks in rows if _CASE.fullmatch(case)}


def mark(caution: str) -> str:
    """Return the digest by which a caution is known to a form and to the cookie."""
    return hashlib.sha256(caution.encode()).hexdigest()[:_LETTERS]
