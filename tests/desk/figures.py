"""Figures of the desk: axe-core on every screen, time from answer to page, and pictures.

    python -m tests.desk.figures [--out DIR] [--answers N]

A server of its own on loopback, Chromium without a screen; nothing is asserted here.
"""

import argparse
import os
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, FloatRect

from tests.desk import browser as b
from tests.desk.calls import CALLS, FULL_KIT_TWO_FAULTS, Whole
from tests.desk.test_browser import begin, case_of, screens
from tests.serving import Running

SMALL = 120_000  # bytes of a picture for README
_TOP = FloatRect(x=0, y=0, width=1280, height=620)


def axe(chromium: Browser, url: str, out: Path | None) -> None:
    """Print how many screens were looked at and how much axe-core found; keep their pictures."""
    for size in b.SIZES:
        for scheme in b.SCHEMES:
            found, seen = 0, 0
            with b.screen(chromium, url, size, scheme, watched=False) as page:
                for name in screens(page):
                    page.wait_for_timeout(120)
                    bad = b.violations(page)
                    for one in bad:
                        print(f"  {name}: {one}")
                    found, seen = found + len(bad), seen + 1
                    stem = name.strip("/?").replace("/", "-").replace("?", "-").replace("=", "-")
                    b.shoot(page, out, f"{size}-{scheme}-{seen:02d}-{stem}")
            print(f"axe-core, {', '.join(b.WCAG)}: {size}, {scheme}: {seen} screens, {found} found")


def times(chromium: Browser, url: str, wanted: int) -> None:
    """Print how long an answer takes: from the key to the first frame with the new page."""
    took: list[float] = []
    with b.screen(chromium, url) as page:
        begin(page, FULL_KIT_TWO_FAULTS).go_through(FULL_KIT_TWO_FAULTS.truth, most=2)  # warm up
        while len(took) < wanted:
            for call in CALLS:
                hand = begin(page, call)
                hand.go_through(call.truth)
                took += hand.took
    took.sort()
    middle, high = took[len(took) // 2], took[int(0.95 * (len(took) - 1))]
    told = ", ".join(
        f"{name} {seconds * 1000:.0f} ms"
        for name, seconds in (("median", middle), ("95th percentile", high), ("most", took[-1]))
    )
    print(f"answer to updated page, {len(took)} answers, loopback, {os.cpu_count()} cores: {told}")


def steps(chromium: Browser, url: str, out: Path) -> None:
    """Keep a picture of each step of the three calls, on both screens."""
    for size in b.SIZES:
        for number, call in enumerate(CALLS, start=1):
            with b.screen(chromium, url, size) as page:
                hand = begin(page, call)
                for place in range(1, 25):
                    page.wait_for_timeout(120)
                    b.shoot(page, out, f"call-{number}-{size}-{place:02d}-{hand.asked or 'repair'}")
                    if hand.asked is None:
                        break
                    hand.answer(call.truth.get(hand.asked, b.NOT_KNOWN))
                page.goto(f"{case_of(page)}/sheet")
                b.shoot(page, out, f"call-{number}-{size}-sheet")


def readme(chromium: Browser, url: str, out: Path) -> None:
    """Make README's three pictures: the office in a call, a phone at the machine, a STOP card."""
    with b.screen(chromium, url) as page:
        begin(page, FULL_KIT_TWO_FAULTS).go_through(FULL_KIT_TWO_FAULTS.truth, most=3)
        case = case_of(page)
        page.goto(f"{case}?check=pull-pin-voltage")
        page.wait_for_selector("html[data-ready]", state="attached")
        b.press(page, "g")
        page.wait_for_selector("#drawn")
        page.evaluate("scrollTo(0, 0)")
        page.screenshot(path=out / "desk-office.png", clip=_TOP)
    with b.screen(chromium, url, "phone", "dark") as page:
        page.goto(f"{case}?as=technician&check=pull-pin-voltage")
        page.screenshot(path=out / "desk-phone.png")
    with b.screen(chromium, url, "phone") as page:
        begin(page, Whole("stop", "3", "site dumper", "It rolls.", "24" + "2" + "1"))
        page.screenshot(path=out / "desk-stop.png")
    for name in ("desk-office.png", "desk-phone.png", "desk-stop.png"):
        size = (out / name).stat().st_size
        print(f"{name}: {size / 1000:.0f} kB{'' if size < SMALL else ', too large for README'}")


def main() -> None:
    """Start a server, look at everything, print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="folder for pictures")
    parser.add_argument("--answers", type=int, default=60, help="answers to time")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as home, b.chromium() as chromium:
        running = Running(Path(home), "--database", b.new_store(Path(home)))
        try:
            times(chromium, running.url, options.answers)
            axe(chromium, running.url, options.out)
            if options.out:
                options.out.mkdir(parents=True, exist_ok=True)
                steps(chromium, running.url, options.out)
                readme(chromium, running.url, options.out)
        finally:
            running.stop()


if __name__ == "__main__":
    main()
