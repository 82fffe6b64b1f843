"""What is asked next, ready for the page: cautions first, then what to say, then the answers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from api.answers.conclusions import behind, cause_of, hundredths
from api.answers.finding_words import observed
from api.desk.calls import Call
from api.interview import views
from api.interview.desk import lead
from api.interview.next_step import SURE, checks_before, further_checks, prompt_of
from api.interview.state import Target
from api.interview.turn import Option
from engine.knowledge import items

COIL_GROUND = "coil-ground"
_SMALLER = {"V": ("V", "mV"), "A": ("A", "mA"), "s": ("s", "ms"),
            "ohm": ("ohm", "mohm", "kohm", "Mohm")}  # fmt: skip


@dataclass(frozen=True)
class Cautions:
    """The cautions of a step: new ones in full; known ones shortened here, in full below."""

    new: tuple[str, ...] = ()
    known: tuple[str, ...] = ()

    @property
    def reminder(self) -> str:
        """Return the first sentence of each known one."""
        return " ".join(one.split(". ")[0].rstrip(".") + "." for one in self.known)

    @property
    def every(self) -> tuple[str, ...]:
        """Return all of them in full."""
        return (*self.new, *self.known)


@dataclass(frozen=True)
class Ask:
    """A check as it is asked: an answer to choose, or a reading to type."""

    check: str
    name: str
    kind: str
    minutes: float
    say: str
    how: str
    why: str
    reason: str
    expect: Sequence[Mapping[str, str]]
    cautions: Cautions
    options: tuple[Option, ...]
    units: tuple[str, ...]
    quantity: str
    to_own_ground: bool
    heading: str = ""
    replaces: int | None = None

    @property
    def takes_plug(self) -> bool:
        """Return whether it matters if the plug was on."""
        return self.quantity in ("voltage", "current")

    @property
    def is_ohms(self) -> bool:
        """Return whether leads count and a meter can be over range."""
        return self.quantity == "resistance"


def urgent(call: Call) -> list[str]:
    """Return the cautions of the case as a whole that the last answer raised."""
    return views.urgent(call.answer, call.before_finding)


def ask(call: Call, name: str, replaces: int | None = None) -> Ask:
    """Return a check as it is asked on this machine."""
    row = call.desk.step(call.inquiry, name)
    check = call.desk.knowledge.checks[name]
    reading = check.reading
    prompt = prompt_of(Target("check", name), call.inquiry, call.desk)
    return Ask(
        check=name, name=row["name"], kind=row["kind"], minutes=row["minutes"], say=row["say"],
        how=row["how"], why=row["why"], reason=row.get("reason", ""),
        expect=[{**one, "name": call.desk.name(one["cause"])} for one in row["expect"]],
        cautions=_split(row["cautions"], call, name), options=prompt.options,
        units=_SMALLER[reading.unit] if reading else (),
        quantity=reading.quantity if reading else "",
        to_own_ground=bool(reading and COIL_GROUND in reading.to_node.values()),
        heading=_heading(call, name, replaces), replaces=replaces,
    )  # fmt: skip


def _split(texts: Sequence[str], call: Call, name: str) -> Cautions:
    """Part the cautions into those that an earlier step of this call had, and new ones.

    What the last answer raised for the whole case comes before what belongs to the step.
    """
    known: set[str] = set()
    if call.audience == "caller":
        earlier = dict.fromkeys(one["check"] for _, one in call.inquiry.mine)
        earlier.pop(name, None)
        for told in call.desk.cautions(call.inquiry, earlier).values():
            known.update(told)
    first = urgent(call)
    later = [one for one in texts if one not in first]
    return Cautions(
        (*first, *(one for one in later if one not in known)),
        tuple(one for one in later if one in known),
    )


def _heading(call: Call, name: str, replaces: int | None) -> str:
    """Return why this check is asked in a special way, or nothing."""
    if call.desk.ruled_out(call.inquiry, name):
        return (
            "As things stand this check is ruled out: do not do it. Note only what was found "
            "before."
        )
    if replaces is not None:
        old = call.told(str(replaces))
        return (
            f"Answer {replaces} says: {observed(old.body, call.desk.knowledge)}. Now?"
            if old
            else ""
        )
    if call.inquiry.answered(name):
        return "It was answered before; this answer counts beside that one."
    return ""


@dataclass(frozen=True)
class Repair:
    """What to put right, when no check is worth its minutes any more."""

    cause: str
    name: str
    probability: float
    because: str
    cautions: Cautions
    remedy: str
    proof: str
    behind: Sequence[str]
    before: Sequence[tuple[str, str]]
    before_with_more: Sequence[str]
    others: Sequence[tuple[str, str, float]]
    further: Sequence[tuple[str, str]]
    still: Sequence[tuple[str, str]]


def repair(call: Call) -> Repair:
    """Return the repair that the answers point at, and what to do before a part is fitted."""
    answer, desk = call.answer, call.desk
    first = lead(answer)
    sure = first["probability"] > SURE
    order = [first["id"]] if sure else answer["advice"]["repair_order"] or [first["id"]]
    entry = cause_of(answer, order[0])
    known = {one["id"]: float(one["probability"]) for one in answer["causes"]}
    before = checks_before(call.inquiry, desk, entry["id"])
    return Repair(
        cause=entry["id"], name=entry["name"], probability=entry["probability"],
        because="" if sure else answer["advice"]["because"] or "",
        cautions=_split(entry["cautions"], call, ""),
        remedy=entry["remedy"], proof=entry["proof_of_repair"],
        behind=behind(entry, desk.knowledge),
        before=[(one, desk.name(one)) for one in before],
        before_with_more=[
            desk.name(one) for one in entry["before_replacing"]
            if one not in before and not call.inquiry.answered(one)
        ],
        others=[(one, desk.name(one), known.get(one, 0.0)) for one in order[1:4]],
        further=[(one["check"], one["name"]) for one in further_checks(call.inquiry, desk)],
        still=[(one["check"], one["name"]) for one in answer["next_checks"]],
    )  # fmt: skip


@dataclass(frozen=True)
class Meaning:
    """What an answer would do to the belief."""

    words: str
    leads: str
    chance: str


def meanings(call: Call, name: str) -> list[Meaning]:
    """Return for every result of a check which cause would lead, and how likely."""
    outcomes = call.desk.knowledge.checks[name].outcomes
    words = outcomes.words if outcomes else {}
    return [
        Meaning(words.get(one.get("outcome", ""), one.get("reads") or one.get("outcome", "")),
                call.desk.name(one["leaders"][0]["cause"]),
                hundredths(one["leaders"][0]["probability"]))
        for one in call.desk.meanings(call.inquiry, name) if one["leaders"]
    ]  # fmt: skip


def searched(call: Call, words: str) -> dict[str, list[tuple[str, str]]]:
    """Return the checks of this machine that have every word, by kind; all for no words."""
    wanted = words.lower().split()
    found: dict[str, list[tuple[str, str]]] = {kind: [] for kind in items.KINDS}
    for name in call.desk.checks(call.inquiry):
        check = call.desk.knowledge.checks[name]
        text = f"{name} {name.replace('-', ' ')} {check.name} {check.say} {check.kind}".lower()
        if all(one in text for one in wanted):
            found[check.kind].append((name, check.name))
    return {kind: rows for kind, rows in found.items() if rows}
