"""A case as a work order, the same for JSON, table, printed pages and the terminal."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cache, cached_property
from importlib import resources
from typing import ClassVar, TypeVar

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from api.answers.conclusions import behind, cause_of, doubts, further_checks, handing_back
from api.answers.finding_words import name_of, named, observed, result_of
from api.cases.case import Case, CaseFinding, CaseHead, CaseOutcome
from api.cases.table import table
from api.cases.wording import ended
from api.strict_json import Json
from api.translation import N_, gettext
from engine import Knowledge
from engine.answer.documents import SPREAD, Document, plain, same

DEFERS = (
    "An aid for qualified people. The machine maker's service manual, the site's lockout rules and "
    "local codes win where they differ from this sheet."
)
SHOWN_CAUSES = 3
CHECKS = 3  # for whoever goes to the machine
EVIDENCE = 4
LEAST_DB = 2.0  # lighter findings are left out of the evidence in short


@dataclass(frozen=True, kw_only=True)
class WorkOrderFinding(CaseFinding):
    """A finding on a work order; ``doubt`` where it does not count in full."""

    DOCUMENT: ClassVar = {
        "place": "place", "check": "check", "name": "check_name",
    } | same("side", "found", "note", "by", "at", "withdrawn")  # fmt: skip

    check_name: str
    name: str  # the same with its side
    found: str
    note: str
    observed: str  # what was found, and how
    doubt: str = ""
    instead: str = ""  # why it is in doubt, and what to do instead

    @property
    def struck(self) -> str:
        """Return who withdrew it and why; empty while it counts."""
        gone = self.withdrawn
        if not gone or not gone.because:
            return gettext("Struck out by %(name)s", name=gone.by) if gone else ""
        return gettext("Struck out by %(name)s: %(because)s", name=gone.by, because=gone.because)


@dataclass(frozen=True)
class WorkOrderCause:
    """A likely cause on a work order."""

    id: str
    name: str
    probability: float
    remedy: str
    proof_of_repair: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class WorkOrderCheck:
    """A check on a work order."""

    check: str
    name: str
    say: str
    how: str
    minutes: float
    cautions: tuple[str, ...]


_Part = TypeVar("_Part", WorkOrderCause, WorkOrderCheck)


@dataclass(frozen=True)
class WorkOrderOutcome(CaseOutcome):
    """How the case ended, with the cause's name."""

    cause_name: str


@dataclass(frozen=True)
class WorkOrder(Document):
    """A case to take along.

    As seen from one side of its machine, with the engine's whole answer. ``places[i]`` is the place
    in the case of what the answer calls finding ``i``; ``chosen`` the cause that was confirmed or
    agreed on.
    """

    DOCUMENT: ClassVar = {
        SPREAD: "head", "findings": "findings", "causes": "likely", "cautions": "of_the_job",
    } | same("next_checks", "outcome", "knowledge_version", "defers")  # fmt: skip

    case: Case
    knowledge: Knowledge
    answer: Json | None
    places: tuple[int, ...] = ()
    side: str | None = None
    chosen: str | None = None

    @property
    def confirmed(self) -> bool:
        """Return whether a repair has shown the cause."""
        return self.case.outcome is not None

    @property
    def covered(self) -> bool:
        """Return whether the knowledge covers the machine."""
        return bool(self.seen["scope"]["covered"])

    @property
    def seen(self) -> Json:
        """Return the answer. Needs one."""
        assert self.answer is not None
        return self.answer

    @property
    def cause(self) -> Json:
        """Return the cause that the order is about: the chosen one, else the likeliest."""
        return cause_of(self.seen, self.chosen or "")

    @property
    def others(self) -> list[Json]:
        """Return the next likeliest causes."""
        return [one for one in self.seen["causes"] if one is not self.cause][: SHOWN_CAUSES - 1]

    @property
    def evidence(self) -> list[Json]:
        """Return the weightiest findings for and against the cause."""
        heavy = [one for one in self.cause["evidence"] if abs(one["weight_db"]) >= LEAST_DB]
        return heavy[:EVIDENCE]

    @property
    def checks(self) -> Sequence[Json]:
        """Return the checks for whoever goes to the machine with the full kit."""
        open_still = self.case.is_open and not self.chosen
        return further_checks(self.seen)[:CHECKS] if open_still else ()

    @property
    def before(self) -> list[str]:
        """Return the names of the checks to do before a part is fitted."""
        return [named(one, self.knowledge) for one in self.cause["before_replacing"]]

    @property
    def behind(self) -> list[str]:
        """Return what may have made the cause."""
        return behind(self.cause, self.knowledge)

    @property
    def handing_back(self) -> list[str]:
        """Return what to mind before the machine goes back."""
        return handing_back(self.seen)

    @property
    def doubts(self) -> list[str]:
        """Return what does not fit, each finding by its number in the case."""
        bodies = {one.place: one for one in self.case.findings}

        def told(index: int) -> str:
            place = self.places[index]
            return f"answer {place}, {named(bodies[place].check, self.knowledge)}"

        return doubts(self.seen["fit"], self.knowledge, told)

    @property
    def cautions(self) -> list[str]:
        """Return every caution of the case, the repair and the checks named, once."""
        texts = [one["text"] for one in self.seen["cautions"]]
        if self.covered:
            texts += [*self.cause["cautions"], *(c for one in self.checks for c in one["cautions"])]
        return list(dict.fromkeys(texts))

    @cached_property
    def findings(self) -> tuple[WorkOrderFinding, ...]:
        """Return every finding in its order, withdrawn ones too."""
        answer = self.answer or {"set_aside": (), "weakened": ()}
        rows = [*answer["set_aside"], *answer["weakened"]]
        doubted = {self.places[row["finding"]]: row for row in rows}
        return tuple(self._finding(one, doubted.get(one.place)) for one in self.case.findings)

    def _finding(self, one: CaseFinding, row: Json | None) -> WorkOrderFinding:
        known, body = self.knowledge, one.body
        less, nothing = N_("Counts for less"), N_("Set aside, counts for nothing")
        return WorkOrderFinding(
            **vars(one), check_name=name_of({"check": one.check}, known), name=name_of(body, known),
            found=result_of(body, known), note=body.get("note", ""), observed=observed(body, known),
            doubt=(less if "keep" in row else nothing) if row else "",
            instead=gettext("%(because)s Instead: %(instead)s", **row) if row else "",
        )  # fmt: skip

    @property
    def head(self) -> CaseHead:
        """Return what tells the case from another."""
        return CaseHead(**vars(self.case))

    @property
    def likely(self) -> tuple[WorkOrderCause, ...]:
        """Return the three most likely causes."""
        causes = (self.answer or {"causes": ()})["causes"][: self.case.limit or None]
        return tuple(_of(one, WorkOrderCause) for one in causes[:SHOWN_CAUSES])

    @property
    def next_checks(self) -> tuple[WorkOrderCheck, ...]:
        """Return the check to do next, if any."""
        if self.answer is None or self.answer["advice"]["do"] == "repair":
            return ()
        return tuple(_of(one, WorkOrderCheck) for one in self.answer["next_checks"][:1])

    @property
    def of_the_job(self) -> tuple[str, ...]:
        """Return the cautions of the whole job."""
        return tuple(one["text"] for one in (self.answer or {}).get("cautions", ()))

    @property
    def outcome(self) -> WorkOrderOutcome | None:
        """Return how the case ended."""
        found = self.case.outcome
        if found is None:
            return None
        return WorkOrderOutcome(**vars(found), cause_name=ended(found.cause, self.knowledge))

    @property
    def knowledge_version(self) -> str | None:
        """Return the version of the knowledge that gave the causes."""
        return (self.answer or {}).get("knowledge_version")

    @property
    def defers(self) -> str:
        """Return what wins over the order."""
        return DEFERS


def work_order(case: Case, knowledge: Knowledge) -> WorkOrder:
    """Return the work order of a case with its diagnosis; of two sides, of the one named first."""
    found, chosen = case.diagnosis, case.outcome.cause if case.outcome else None
    answer, places = (found.answer, found.places) if found else (None, ())
    return WorkOrder(case, knowledge, answer, places, chosen=chosen)


def _of(answered: Json, kind: type[_Part]) -> _Part:
    return kind(**{one.name: answered[one.name] for one in fields(kind)})


def csv_text(order: WorkOrder) -> str:
    """Return the work order as a table of one row under its names."""
    said = {
        "causes": plain(order.likely), "next_check": next(iter(plain(order.next_checks)), None),
        "knowledge_version": order.knowledge_version,
    }  # fmt: skip
    return "".join(table([replace(order.case, leading=said)], order.knowledge))


def html_text(order: WorkOrder) -> str:
    """Return the work order as one page that prints, with its style inside."""
    page: str = _template().render(order=order.to_dict(), style=stylesheet())
    return page


@cache
def stylesheet() -> str:
    """Return the style of the printed page."""
    return (resources.files("api.cases") / "work-order.css").read_text(encoding="utf-8")


@cache
def _template() -> Template:
    return Environment(
        loader=PackageLoader("api.cases", ""), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    ).get_template("work-order.html")  # fmt: skip
