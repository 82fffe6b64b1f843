"""The table of the first screen: what of each step of twelve calls needs scrolling.

    python -m tests.desk.first_screen [--before TREE] [--steps]

Three calls a role, each on both screens, answered at the keyboard in a real Chromium. TREE is a
checkout of an earlier commit, whose server is asked the same. Nothing is asserted here: a few calls
are held by test_browser.
"""

import argparse
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page

from tests.desk import browser as b
from tests.desk.calls import BRAKE_WITH_LAMP, FUEL_BY_PHONE, FULL_KIT_TWO_FAULTS
from tests.serving import Running

b.SIZES["office"] = {"width": 1366, "height": 768}  # the smaller of an office
MOST_STEPS = 25
LAY = {"skill": "lay", "on_hand": ["ask", "look"]}
FUEL = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "case-ground"}
BRAKE = {"duty": "brake-release", "control": "controller-on-request", "coil": "case-ground"}
PHONE, LAMP, KIT = FUEL_BY_PHONE.truth, BRAKE_WITH_LAMP.truth, FULL_KIT_TWO_FAULTS.truth
NO_START = {"check": "engine-response", "outcome": "cranks-no-start"}
NO_RELEASE = {"check": "brake-response", "outcome": "will-not-release"}


# The tick of the form that starts a call: the warnings of the machine were read out.
_TICK = """async () => {
  const said = [...document.querySelectorAll(".first-told [name=caution]")].map((one) => one.value);
  const body = new URLSearchParams(said.map((mark) => ["caution", mark]));
  body.append("csrf", document.querySelector("[name=csrf]").value);
  if (said.length) await fetch(`${document.body.dataset.case}/told`, { method: "POST", body });
}"""


@dataclass(frozen=True)
class Call:
    """A call: who sits there, what the machine is, what is known, what is true of it."""

    role: str
    name: str
    machine: Mapping[str, str]
    findings: tuple[Mapping[str, Any], ...]
    truth: Mapping[str, Any]
    settings: Mapping[str, Any] = field(default_factory=dict)

    @property
    def audience(self) -> str:
        """Return whom the pages are for."""
        return "technician" if self.role == "technician alone" else "caller"


def _known(*checks: str, truth: Mapping[str, Any]) -> tuple[Mapping[str, Any], ...]:
    """Return what somebody else found already, as the API takes it."""
    found = []
    for check in checks:
        number, _, unit = str(truth[check]).partition(" ")
        read = {"value": float(number), "unit": unit} if unit else {"outcome": truth[check]}
        found.append({"check": check, **read})
    return tuple(found)


CALLS = (
    Call("agent, lay caller", "cranks, does not start", FUEL, (NO_START,), PHONE, LAY),
    Call("agent, lay caller", "does not stop", FUEL,
         ({"check": "engine-response", "outcome": "will-not-stop"},), PHONE, LAY),
    Call("agent, lay caller", "brake stays on", BRAKE, (NO_RELEASE,), LAMP, LAY),
    Call("agent, technician", "cranks, does not start", FUEL, (NO_START,), KIT),
    Call("agent, technician", "dies again", FUEL,
         ({"check": "engine-response", "outcome": "starts-then-dies"},), KIT),
    Call("agent, technician", "brake stays on", BRAKE, (NO_RELEASE,), LAMP),
    Call("technician alone", "cranks, does not start", FUEL, (NO_START,), KIT),
    Call("technician alone", "no control known", {**FUEL, "control": "unknown", "coil": "unknown"},
         (NO_START,), KIT),
    Call("technician alone", "brake stays on", BRAKE, (NO_RELEASE,), LAMP),
    Call("lead", "four answers are there", FUEL,
         (NO_START, *_known("plunger-action", "relay-click", "crank-speed", truth=PHONE)), PHONE),
    Call("lead", "readings are there", FUEL,
         (NO_START, *_known("pull-pin-voltage", "pull-current", truth=KIT)), KIT),
    Call("lead", "a brake that does not hold", BRAKE,
         ({"check": "brake-response", "outcome": "will-not-hold"},), LAMP),
)  # fmt: skip


@dataclass(frozen=True)
class Step:
    """What was seen of one step."""

    check: str
    cut: tuple[str, ...]
    words: int


@dataclass(frozen=True)
class Went:
    """A call as it went on one screen."""

    steps: tuple[Step, ...]
    keys: int

    @property
    def whole(self) -> int:
        """Return how many steps needed no scrolling."""
        return sum(not one.cut for one in self.steps)

    def row(self, size: str) -> str:
        """Return steps that were whole, the most words, and the keys."""
        most, limit = max(one.words for one in self.steps), b.MOST_WORDS[size]
        over = sum(one.words > limit for one in self.steps)
        words = f"{most}{f' ({over} over {limit})' if over else ''}"
        return f"{self.whole} of {len(self.steps)} | {words} | {self.keys}"


def _opened(running: Running, call: Call) -> str:
    """Open the case as another program would, without what an earlier version does not take."""
    body = {"machine": {**call.machine, "system_volts": 12}, "findings": list(call.findings)}
    reply = running.ask("POST", "/v1/cases", {**body, **call.settings})
    if reply.status_code == 422:
        settings = {key: one for key, one in call.settings.items() if key != "skill"}
        reply = running.ask("POST", "/v1/cases", {**body, **settings})
    assert reply.status_code == 201, reply.text
    return str(reply.json()["number"]).replace(" ", "")


def _read_out(page: Page) -> int:
    """Acknowledge STOP cards, a key each."""
    keys = 0
    while page.query_selector(".stop button"):
        page.wait_for_selector("html[data-ready]", state="attached")
        mark = page.get_attribute(".stop [name=caution]", "value")
        b.press(page, "Enter")
        page.wait_for_selector(f'.stop [name=caution][value="{mark}"]', state="detached")
        keys += 1
    return keys


def _keys(page: Page, given: object) -> int:
    """Return the keys that an answer takes: a digit, or a reading and Enter."""
    if given == b.NOT_KNOWN or not page.query_selector("#value"):
        return 1
    return len(str(given)) + 1 + 2 * ("ohm" in str(given))


def went(running: Running, chromium: Browser, call: Call, size: str) -> Went:
    """Go through a call on a screen."""
    case = f"{running.url}/desk/cases/{_opened(running, call)}"
    with b.screen(chromium, running.url, size, watched=False) as page:
        page.goto(f"{case}?as={call.audience}")
        hand, steps, keys = b.Typist(page), list[Step](), _read_out(page)
        page.evaluate(_TICK)
        page.goto(case)
        while (check := hand.asked) is not None and len(steps) < MOST_STEPS:
            page.wait_for_timeout(60)
            cut, words = b.first_screen(page)
            steps.append(Step(check, tuple(cut), words))
            given = call.truth.get(check, b.NOT_KNOWN)
            keys += _keys(page, given)
            hand.answer(given)
            keys += _read_out(page)
        cut, words = b.first_screen(page)
        steps.append(Step("the end", tuple(cut), words))
    return Went(tuple(steps), keys + 1)


def _rows(chromium: Browser, tree: Path | None, calls: Sequence[Call]) -> Iterator[list[Went]]:
    """Give for each call how it went on both screens, against the server of a tree."""
    other = {"PYTHONPATH": str(tree.resolve())} if tree else None
    with tempfile.TemporaryDirectory() as home:
        running = Running(Path(home), environment=other)
        try:
            for call in calls:
                yield [went(running, chromium, call, size) for size in b.SIZES]
        finally:
            running.stop()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--before", type=Path, help="a checkout of an earlier commit")
    parser.add_argument("--steps", action="store_true", help="name each step that needs scrolling")
    parser.add_argument("--first", type=int, default=1, help="begin with this call of the twelve")
    options = parser.parse_args()
    calls = CALLS[options.first - 1 :]
    print("| role, call | tree | 1366x768: whole | words | keys | 390x844: whole | words | keys |")
    print(f"|{'---|' * 8}")
    trees = {"before": options.before, "now": None} if options.before else {"now": None}
    with b.chromium() as chromium:
        for name, tree in trees.items():
            for call, both in zip(calls, _rows(chromium, tree, calls), strict=True):
                cells = " | ".join(one.row(size) for size, one in zip(b.SIZES, both, strict=True))
                print(f"| {call.role}: {call.name} | {name} | {cells} |", flush=True)
                for size, one in zip(b.SIZES, both, strict=True) if options.steps else ():
                    for step in one.steps:
                        if step.cut or step.words > b.MOST_WORDS[size]:
                            print(f"    {size} {step.check}: {step.words} words, cut {step.cut}")


if __name__ == "__main__":
    main()
