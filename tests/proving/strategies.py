"""From the complaint to the confirmed fix: minutes and repairs of four strategies.

A repair costs the minutes of its cause in kb/ and puts that cause right, and with a new part every
fault that was in the old one (``same_part`` in world.yaml); of two faults the second is still
there. Handing the machine over costs its own minutes and ends the call: somebody else finds what it
was. That is right where nothing listed is wrong, and where the fault is not one of this circuit and
the answer leads with such a one. Every strategy begins with the complaint, which costs nothing.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tests.proving.data import applies, kb, own
from tests.proving.kits import request
from tests.proving.machine import UNCALLED
from tests.proving.roughness import NOT_LISTED
from tests.proving.simulator import SimulatedMachine

Diagnose = Callable[[Mapping[str, Any]], Mapping[str, Any]]
MOST_CHECKS = 60
MOST_REPAIRS = 5  # wrong ones, then even the most patient shop hands the machine over
LIMIT = 5  # causes that an answer explains; the whole list takes the engine twice the time
HAND_OVER = ("outside", NOT_LISTED)  # advice that sends the machine on to others
# The fixed order: a group's check, the outcomes that condemn the group, and what is in it.
FIXED_ORDER: tuple[tuple[str, frozenset[str], tuple[str, ...]], ...] = (
    ("fuse-look", frozenset({"blown"}), ("fuse-open", "fuse-contact-resistive")),
    ("relay-swap", frozenset({"cures"}),
     ("relay-contacts-open", "relay-contacts-resistive", "relay-coil-open",
      "relay-contacts-welded")),
    ("bench-pull", frozenset({"pulls-then-drops", "weak", "no-movement"}),
     ("pull-winding-open", "hold-winding-open", "plunger-binding", "pull-winding-shorted",
      "hold-winding-shorted", "winding-shorted-to-body", "return-spring-failed",
      "wrong-voltage-part")),
    ("ground-jumper", frozenset({"cures"}), ("ground-resistive", "ground-open")),
)  # fmt: skip
_START: tuple[str, frozenset[str], tuple[str, ...]] = (
    "", frozenset(), ("battery-weak", "battery-cable-resistive", "cranking-fault")
)  # fmt: skip


@dataclass(frozen=True)
class Played:
    """One call, played to its end."""

    minutes: float
    checks: int
    repairs: tuple[str, ...]
    group: str  # single, pair or not-listed
    first_time: bool  # whether nothing was repaired but what was wrong


class _Call:
    """What a call has cost so far."""

    def __init__(self, machine: SimulatedMachine) -> None:
        self.first, self.machine, self.minutes, self.checks = machine, machine, 0.0, 0
        self.repairs: list[str] = []
        self.left = list(machine.causes)
        self.right = True  # nothing was done but what was wrong
        self.cured = False
        machine.begin()

    def check(self, name: str) -> dict[str, Any]:
        """Do a check and return the finding."""
        self.minutes += float(kb("checks")[name]["minutes"])
        self.checks += 1
        return self.machine.ask(name)

    def repair(self, cause: str, beyond: bool = False) -> bool:
        """Put a cause right, or hand the machine over; returns whether that changed anything.

        ``beyond`` is to hand it over as one whose fault is not in this circuit.
        """
        if self.cured or cause in self.repairs:
            return False
        self.repairs.append(cause)
        if cause in HAND_OVER:
            self.minutes += float(own("world")["rough"]["unlisted"]["minutes"])
            others = all(map(not_of_this_circuit, self.left))
            self.right &= NOT_LISTED in self.left or (beyond and others)
            self.cured = True
            return True
        self.minutes += float(kb("causes")[cause]["minutes"])
        gone = cured_by(cause, self.first.tale.sound.unlisted).intersection(self.left)
        self.left = [one for one in self.left if one not in gone]
        self.right &= bool(gone)
        self.cured = not self.left
        if gone and not self.cured:
            self.machine = self.first.without(*gone)
        return bool(gone)

    def result(self) -> Played:
        """Return the call as played."""
        repairs = tuple(self.repairs)
        return Played(self.minutes, self.checks, repairs, self.first.group, self.right)


def cured_by(cause: str, unlisted: str = "") -> frozenset[str]:
    """Return the causes that the repair of one puts right: a new part has none of the old one's.

    ``unlisted`` is the fault of unlisted.yaml that is wrong, if one is.
    """
    parts: Mapping[str, Sequence[str]] = own("world")["same_part"]
    new = [part for part, causes in parts.items() if cause in causes]
    cured = {cause}.union(*(parts[part] for part in new))
    part = own("unlisted")[unlisted].get("part") if unlisted else None
    return frozenset(cured | {NOT_LISTED} if part in new else cured)


def not_of_this_circuit(cause: str) -> bool:
    """Return whether kb/ has a cause down as one for somebody else."""
    found = kb("causes").get(cause, {})
    return found.get("section") == "outside" or bool(found.get("another_trade"))


def by_advice(machine: SimulatedMachine, diagnose: Diagnose) -> Played:
    """Do what the answers advise: the first proposed check, or the first repair not yet tried.

    After a repair that changed what the machine does its findings begin anew. A figure that is
    wanted is looked up before anything else.
    """
    call = _Call(machine)
    before = machine.told_before(machine.complaint)
    findings = [machine.ask(machine.complaint, before)]
    done: list[tuple[str, int]] = []
    figures: dict[str, Any] = {}
    while not call.cured:
        asked = request(call.machine, findings, done, LIMIT, int(before))
        answer = diagnose({**asked, "machine": {**asked["machine"], **figures}})
        wanted = answer["advice"].get("get_figure")
        if wanted and wanted not in figures:
            call.minutes += float(own("world")["figure"]["minutes"])
            figures |= {wanted: machine.good_ohms(wanted), f"{wanted}_from": "manual"}
            continue
        checks = answer["next_checks"]
        course = answer["advice"].get("do", "check" if checks else "repair")
        if course == "check" and checks and call.checks < MOST_CHECKS:
            findings.append(call.check(checks[0]["check"]))
            continue
        over = course in ("hand-over", "refer") or len(done) >= MOST_REPAIRS
        cause = NOT_LISTED if over else _next_repair(answer, call.repairs, machine)
        leads = next((str(one["id"]) for one in answer["causes"]), "")
        beyond = course == "hand-over" and not_of_this_circuit(leads)
        done.append((cause, len(findings)))
        if call.repair(cause, beyond) and not call.cured:
            findings, before = [call.machine.ask(machine.complaint)], False
            done = [(one, 0) for one, _ in done]
    return call.result()


def _next_repair(answer: Mapping[str, Any], tried: Sequence[str], machine: SimulatedMachine) -> str:
    """Return the first repair of the advice that was not tried, else the best by p over minutes."""
    order = [name for name in answer["advice"]["repair_order"] if name not in tried]
    if order:
        return str(order[0])
    causes = kb("causes")
    chances = {str(one["id"]): float(one["probability"]) for one in answer["causes"]}
    left = [name for name in known_causes(machine) if name not in tried]
    return max(
        left,
        default=NOT_LISTED,
        key=lambda name: (chances.get(name, 0.0) / causes[name]["minutes"], name),
    )


def known_causes(machine: SimulatedMachine) -> list[str]:
    """Return the causes that the machine can have, the likeliest beforehand first."""
    told = machine.story.specimen.machine
    found = [
        name for name, one in kb("causes").items()
        if name not in UNCALLED and applies(one, told)
    ]  # fmt: skip
    return sorted(found, key=lambda name: (-float(kb("causes")[name]["share"]), name))


def by_fixed_order(machine: SimulatedMachine) -> Played:
    """Check and repair fuse, relay, solenoid, ground, harness, then all else by share.

    An engine that does not turn over sends even this mechanic to the start circuit first. The
    harness is judged with a test lamp at both pins: dark or dim condemns what feeds that pin.
    """
    call = _Call(machine)
    first = machine.ask(machine.complaint).get("outcome")
    groups = [_START] if first == "no-crank" else []
    for check, bad, members in [*groups, *FIXED_ORDER, *_harness(machine)]:
        found = call.check(check).get("outcome") if check else None
        if not check or found in bad:
            for cause in members:
                call.repair(cause)
        if call.cured:
            return call.result()
    for cause in [*sorted(known_causes(machine), key=_judged_good), NOT_LISTED]:
        call.repair(cause)
    return call.result()


def _judged_good(cause: str) -> bool:
    return any(cause in members for _, _, members in FIXED_ORDER)


def _harness(machine: SimulatedMachine) -> list[tuple[str, frozenset[str], tuple[str, ...]]]:
    """Return the harness step: what feeds each pin, wiring before control before supply."""
    found = []
    order = ["wiring", "control", "supply"]
    causes = [name for name in known_causes(machine) if kb("causes")[name]["section"] in order
              and not _judged_good(name)]  # fmt: skip
    causes.sort(key=lambda name: order.index(kb("causes")[name]["section"]))
    for pin, own_words in (("pull", ("hold",)), ("hold", ("pull", "relay", "timer", "fuse"))):
        members = tuple(name for name in causes if not name.startswith(own_words))
        found.append((f"lamp-at-{pin}-pin", frozenset({"dark", "dim"}), members))
    return found


def by_likeliest_part(machine: SimulatedMachine) -> Played:
    """Replace one thing after the other, the likeliest beforehand first, and check nothing."""
    call = _Call(machine)
    for cause in [*known_causes(machine), NOT_LISTED]:
        call.repair(cause)
    return call.result()


def repair_alone(machine: SimulatedMachine) -> Played:
    """Do the right repairs at once: what nobody can beat."""
    call = _Call(machine)
    for cause in machine.causes:
        call.repair(cause)
    return call.result()
