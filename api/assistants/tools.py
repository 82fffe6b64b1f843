"""The three tools: diagnose, the next step of a diagnosis, one item of the knowledge base."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from api.answers import problems
from api.answers.answering import answer_request
from api.cases.diagnosis import leading_check
from api.curation.facts import cautions_of, shelf, shown_machines, title_of
from api.strict_json import Json, JsonObject
from api.web.components import request_schema
from engine import Diagnoser, Knowledge
from engine.answer.documents import plain
from engine.knowledge import items
from engine.knowledge.faults import unknown

KINDS = {"cause": "causes", "check": "checks", "rule": "rules"}
SAFETY = (
    "Tell the cautions of a step before the step, in full. The machine maker's service manual, the "
    "site's lockout rules, local codes and qualified people win over any answer."
)
_BRIEF = ("id", "name", "probability", "group")
_HOW = ("how", "why", "reason", "expect")
_REPAIR = ("id", "name", "remedy", "proof_of_repair", "cautions")


@dataclass(frozen=True)
class Told:
    """What a tool answers: a document, which is a problem document where it is ``bad``."""

    document: JsonObject
    bad: bool = False


@dataclass(frozen=True)
class Tool:
    """A tool as it is listed: its name, what it is for, what it takes, and what it does."""

    name: str
    about: str
    takes: Json
    call: Callable[[Diagnoser, Json], Told]


def diagnose(engine: Diagnoser, arguments: Json) -> Told:
    """Return the whole answer to a request, as every other door gives it."""
    status, document = answer_request(engine, arguments)
    return Told(document, status != 200)


def next_check(engine: Diagnoser, arguments: Json) -> Told:
    """Return of the answer what is to be done next, with its cautions and those of the job."""
    whole = diagnose(engine, arguments)
    if whole.bad:
        return whole
    answer, checks = whole.document, engine.knowledge.checks
    sides = answer.get("sides")
    if not sides:
        return Told(_step(answer, checks))
    return Told({
        "knowledge_version": answer["knowledge_version"],
        "sides": {side: _step(one, checks) for side, one in sides.items()},
    })  # fmt: skip


def _step(answer: Json, checks: Mapping[str, items.Check]) -> JsonObject:
    check = next(iter(answer["next_checks"]), None)
    order = answer["advice"]["repair_order"]
    cause = next((one for one in answer["causes"] if one["id"] in order[:1]), None)
    asked = check and plain(leading_check(check, checks)) | {key: check[key] for key in _HOW}
    return {
        "knowledge_version": answer["knowledge_version"],
        "advice": answer["advice"],
        "next_check": asked,
        "repair": cause and {key: cause[key] for key in _REPAIR},
        "causes": [{key: one[key] for key in _BRIEF} for one in answer["causes"]],
        "fit": answer["fit"],
        "cautions": answer["cautions"],
        "scope": answer["scope"],
    }


def look_up(engine: Diagnoser, arguments: Json) -> Told:
    """Return a cause, check or rule as its address has it, and the cautions of doing it.

    Without ``id`` the ids of the kind with their names.
    """
    knowledge, kind, wanted = engine.knowledge, str(arguments.get("kind")), arguments.get("id")
    known = ("kind", "id")
    faults = [(one, unknown("argument", one, known)) for one in arguments if one not in known]
    if kind not in KINDS:
        faults.append(("kind", unknown("kind", kind, KINDS)))
    elif wanted is not None and str(wanted) not in shelf(knowledge, KINDS[kind]):
        faults.append(("id", unknown(kind, wanted, shelf(knowledge, KINDS[kind]))))
    if faults:
        return Told(problems.document(422, "There is no such thing to look up.", faults), bad=True)
    return Told({"knowledge_version": knowledge.version} | _found(knowledge, kind, wanted))


def _found(knowledge: Knowledge, kind: str, wanted: str | None) -> JsonObject:
    there = shelf(knowledge, KINDS[kind])
    if wanted is None:
        return {KINDS[kind]: {name: title_of(item) for name, item in there.items()}}
    item = there[wanted]
    found: JsonObject = {kind: item.as_dict()}
    if not isinstance(item, items.Rule):
        found["cautions"] = cautions_of(knowledge, item, shown_machines(knowledge))
    return found


def tools(knowledge: Knowledge) -> tuple[Tool, ...]:
    """Return the tools; what they take names the ids of this knowledge base."""
    request = request_schema(knowledge)
    kinds = {"type": "string", "enum": [*KINDS], "description": "What to look up."}
    id_ = {"type": "string", "description": "Its id; left out, all ids of the kind are listed."}
    item = {
        "type": "object", "properties": {"kind": kinds, "id": id_}, "required": ["kind"],
        "additionalProperties": False,
    }  # fmt: skip
    return (
        Tool("diagnose", _DIAGNOSE, request, diagnose),
        Tool("next_check", _NEXT_CHECK, request, next_check),
        Tool("look_up", _LOOK_UP, item, look_up),
    )


_DIAGNOSE = (
    "Why a three-wire pull/hold solenoid circuit does not do its job: from a machine and what was "
    "found on it, the ranked causes with the evidence for each, what proves nothing, the checks to "
    f"do next and the cautions. {SAFETY}"
)
_NEXT_CHECK = (
    "The one step to do next on a machine, from what was found on it: the check, or the repair "
    "where 'advice' says so, with how it is done, what it may answer, and its cautions. Short, for "
    f"asking one question at a time. {SAFETY}"
)
_LOOK_UP = (
    "A cause, check or rule of the knowledge base by its id, as it is written there: for a check "
    f"its outcomes or its unit, for a cause its remedy, and the cautions of doing it. {SAFETY}"
)
