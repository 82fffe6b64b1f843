"""What can be done to a case: each edit turns a case into the next one and says what it changed.

No session, clock or engine in here; faults carry the path in what the caller sent.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from api.cases import bodies, texts
from api.cases.bodies import MOST_FINDINGS
from api.cases.case import (
    CLOSED,
    OPEN,
    SETTINGS,
    Case,
    CaseFinding,
    CaseOutcome,
    ClosedCase,
    NoSuchFinding,
    OpenCase,
    Withdrawal,
)
from api.cases.diagnosis import NOTHING_SENT, Sent
from api.cases.photos import Photo
from api.strict_json import Json
from api.translation import N_
from engine import Fault, Knowledge, RequestError
from engine.knowledge.faults import unknown
from engine.knowledge.items import applies

NOT_A_CAUSE = {"healthy": N_("nothing was wrong"), "outside": N_("it was outside this circuit"),
               "unknown": N_("it was never found")}  # fmt: skip


MOST_PHOTOS = 20


@dataclass(frozen=True)
class Edit:
    """The next case, the kind of step, what it changed, and which part the caller sent."""

    case: Case
    kind: str
    changed: Json
    sent: Sent = NOTHING_SENT


def opened(data: Any, number: str, by: str, at: datetime) -> Edit:
    """Return a new case. Raises RequestError with every fault that needs no engine to be seen."""
    body = bodies.load(bodies.CaseOpeningSchema(exclude=("by",)), data)
    said = texts.read_texts(body)
    findings = body.get("findings", [])
    settings = _dated({name: data[name] for name in SETTINGS if name in data}, len(findings))
    settings = merged({}, settings)
    kept = tuple(CaseFinding(place, one, by, at) for place, one in enumerate(findings, start=1))
    machine = dict(data["machine"])
    case = Case(number, 1, OPEN, at, by, at, machine, **said, settings=settings, findings=kept)
    given = {name: value for name, value in said.items() if value}
    body = {**given, "machine": machine, **settings, "findings": _told(kept)}
    return Edit(case, "opened", body, Sent(first=1, head=True))


def _told(kept: Sequence[CaseFinding]) -> list[dict[str, Any]]:
    return [{"place": one.place, **one.body} for one in kept]


def findings_added(
    case: Case, findings: Any, by: str, at: datetime, photo: Photo | None = None
) -> Edit:  # fmt: skip
    """Return the case with findings added behind those that it has; a photo is of the first."""
    need_open(case)
    bodies.load(bodies.FindingListSentSchema(exclude=("by",)), {"findings": findings})
    before = len(case.findings)
    if before + len(findings) > MOST_FINDINGS:
        message = f"a case takes {MOST_FINDINGS} findings and has {before}"
        raise RequestError([Fault("findings", message)])
    first = before + 1
    new = tuple(CaseFinding(place, dict(one), by, at) for place, one in enumerate(findings, first))
    if photo is not None:
        if sum(len(one.photos or ()) for one in case.findings) >= MOST_PHOTOS:
            raise RequestError([Fault("photo", f"a case takes {MOST_PHOTOS} photos and has them")])
        address = f"/v1/cases/{case.number}/photos/{photo.name}"
        new = (replace(new[0], photos=(address,)), *new[1:])
    after = replace(case, findings=case.findings + new)
    return Edit(after, "finding-added", {"findings": _told(new)}, Sent(first=first))


def withdrawn(case: Case, place: int, by: str, because: Any, at: datetime) -> Edit | None:
    """Return the case with one finding withdrawn; None when it was already."""
    need_open(case)
    _check_because(because)
    found = _at(case, place)
    if found.withdrawn is not None:
        return None
    after = _with(case, replace(found, withdrawn=Withdrawal(by, at, because)))
    body = {"place": place, "because": because, "finding": dict(found.body)}
    return Edit(after, "finding-withdrawn", body)


def replaced(  # noqa: PLR0913, PLR0917 - the answer, and what came with it
    case: Case, place: int, finding: Any, by: str, at: datetime, photo: Photo | None = None
) -> Edit:  # fmt: skip
    """Return the case with one finding withdrawn and another, found now, in its place."""
    edit = findings_added(case, [finding], by, at, photo)
    because = f"changed, see answer {len(edit.case.findings)}"
    gone = withdrawn(edit.case, place, by, because, at) or edit
    return replace(edit, case=gone.case, changed={**edit.changed, "replaces": place})


def restored(
    case: Case, place: int, replaced_by: int | None, by: str, at: datetime
) -> Edit | None:  # fmt: skip
    """Return the case with a withdrawn finding counting again; None when it does already.

    What was put in its place is withdrawn.
    """
    need_open(case)
    found = _at(case, place)
    if found.withdrawn is None:
        return None
    found = replace(found, withdrawn=None)
    body = {"findings": _told([found]), "restored": True}
    edit = Edit(_with(case, found), "finding-added", body, Sent(first=place))
    if replaced_by is None:
        return edit
    gone = withdrawn(edit.case, replaced_by, by, f"answer {place} restored", at) or edit
    return replace(edit, case=gone.case, changed={**body, "replaces": replaced_by})


def _check_because(because: Any) -> None:
    bodies.load(bodies.WithBecauseSchema(exclude=("by",)), {"because": because})


def _at(case: Case, place: int) -> CaseFinding:
    """Return the finding at a place. Raises NoSuchFinding."""
    found = next((one for one in case.findings if one.place == place), None)
    if found is None:
        raise NoSuchFinding(f"This case has {len(case.findings)} findings; none is number "
                            f"{str(place)[:20]}.")  # fmt: skip
    return found


def _with(case: Case, finding: CaseFinding) -> Case:
    """Return the case with a finding in the place that it has."""
    after = tuple(finding if one.place == finding.place else one for one in case.findings)
    return replace(case, findings=after)


def changed(case: Case, changes: Any) -> Edit | None:
    """Return the case with changes merged in (RFC 7396); None when they change nothing."""
    need_open(case)
    body = bodies.load(bodies.CaseChangesSchema(exclude=("by",)), changes)
    said = texts.read_texts(body)
    sent = {k: changes[k] for k in SETTINGS if k in changes}
    settings = merged(case.settings, _dated(sent, len(case.findings)))
    machine = merged(case.machine, changes.get("machine", {}))
    after = replace(case, **said, settings=settings, machine=machine)
    fields = _differences(case, after)
    if not fields:
        return None
    head = any(name not in texts.TEXTS for name in fields)
    return Edit(after, "changed", {"fields": fields}, Sent(head=head))


def _dated(settings: Mapping[str, Any], findings: int) -> dict[str, Any]:
    """Return settings in which what was put right just now says after which finding it was."""
    done = settings.get("done")
    if not isinstance(done, list):
        return dict(settings)
    now = {"after": findings - 1}
    return {
        **settings,
        "done": [{**now, **act} if isinstance(act, Mapping) else act for act in done],
    }


def merged(old: Mapping[str, Any], patch: Mapping[str, Any]) -> dict[str, Any]:
    """Return ``old`` with the members of ``patch`` in place of its own; null takes one out."""
    both = {**old, **patch}
    return {name: value for name, value in both.items() if value is not None}


def _differences(old: Case, new: Case) -> dict[str, Any]:
    pairs = {
        **{name: (getattr(old, name), getattr(new, name)) for name in texts.TEXTS},
        "machine": (dict(old.machine), dict(new.machine)),
        **{name: (old.settings.get(name), new.settings.get(name)) for name in SETTINGS},
    }
    return {name: {"from": a, "to": b} for name, (a, b) in pairs.items() if a != b}


def closed(case: Case, outcome: Any, knowledge: Knowledge, by: str, at: datetime) -> Edit:
    """Return the case closed with its outcome."""
    need_open(case)
    faults: list[Fault] = []
    body = bodies.read(bodies.CaseClosingSchema(exclude=("by",)), outcome, faults)
    cause = body.get("cause")
    if cause is not None and (fault := _cause_fault(case, cause, knowledge)):
        faults.append(Fault("cause", fault))
    if faults:
        raise RequestError(faults)
    ended = CaseOutcome(
        str(cause), tuple(body.get("replaced") or ()), body.get("minutes"),
        body.get("note") or "", by, at,
    )  # fmt: skip
    after = replace(case, state=CLOSED, outcome=ended)
    return Edit(after, "closed", {"outcome": ended.to_dict()})


def _cause_fault(case: Case, cause: str, knowledge: Knowledge) -> str | None:
    if cause in NOT_A_CAUSE:
        return None
    if cause not in knowledge.causes:
        return unknown("cause", cause, [*NOT_A_CAUSE, *knowledge.causes])
    circuits = knowledge.circuits_of(case.machine["duty"], case.machine["control"])
    possible = any(applies(knowledge.causes[cause].applies, circuit=one) for one in circuits)
    return None if possible else f"'{cause}' cannot be on this machine"


def reopened(case: Case, because: Any) -> Edit:
    """Return the case open again; how it had ended stands in the step."""
    if case.state != CLOSED:
        raise OpenCase("The case is open.")
    _check_because(because)
    body = {"because": because, "outcome": case.outcome and case.outcome.to_dict()}
    return Edit(replace(case, state=OPEN, outcome=None), "reopened", body)


def need_open(case: Case) -> None:
    """Raise ClosedCase unless the case is open."""
    if case.state != OPEN:
        raise ClosedCase("The case is closed. Reopen it first, and say why.")
