"""What this browser was told of a case: cautions once a call, and STOP cards until acknowledged.

A caution that holds for the whole case is read out at the next step by whoever gets to it, and not
again in that browser. What is kept is a digest in a cookie; without one, all is told each time.
"""

import hashlib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib import resources

from flask import Response, request

from api.desk.pages import keep_cookie
from api.strict_json import Json
from engine import Knowledge
from engine.knowledge.rule_language import MachineTest
from engine.knowledge.text import load_yaml
from engine.rules.cautions import caution_text

COOKIE = "threewire_desk_told"
CASES = 20  # the latest, so that the cookie stays small
_LETTERS = 6


@lru_cache(maxsize=1)
def stops() -> Mapping[str, Mapping[str, str]]:
    """Return the cautions that stop a call, by id: what stands over them and what happens next."""
    file = resources.files("api.desk").joinpath("stops.yaml")
    found: Mapping[str, Mapping[str, str]] = load_yaml(file.read_text("utf-8"), file.name)
    return found


def of_every_machine(knowledge: Knowledge, duty: str) -> dict[str, str]:
    """Return the cautions, by id, that hold for every machine of a duty before anything is found.

    They are read out when a call is started.
    """
    return {
        name: caution_text(rule)
        for name, rule in knowledge.rules.items()
        if rule.family == "cautions"
        and all(
            isinstance(test, MachineTest) and test.field == "duty" and duty in (test.values or ())
            for test in knowledge.programs[name].conditions
        )
    }


def untold(number: str, cautions: Iterable[Json]) -> list[Json]:
    """Return the cautions of a case that this browser was not told yet."""
    known = _kept().get(number, frozenset())
    return [one for one in cautions if _digest(one["id"]) not in known]


def tell(response: Response, number: str, ids: Iterable[str]) -> Response:
    """Keep in the browser that cautions of a case were told, and return the response."""
    kept = _kept()
    marks = kept.pop(number, frozenset()) | {_digest(one) for one in ids}
    latest = [*kept.items(), (number, marks)][-CASES:]
    keep_cookie(response, COOKIE, "|".join(f"{n}:{'.'.join(sorted(m))}" for n, m in latest))
    return response


def _kept() -> dict[str, frozenset[str]]:
    parts = (one.partition(":") for one in request.cookies.get(COOKIE, "")[:4000].split("|"))
    return {number: frozenset(marks.split(".")) for number, colon, marks in parts if colon}


def _digest(caution: str) -> str:
    return hashlib.sha256(caution.encode()).hexdigest()[:_LETTERS]
