"""A real Chromium before a real server, and whoever sits at its keyboard."""

import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from tests.databases import set_up

CHROMIUM = "/usr/bin/chromium"
REQUIRED = "TESTS_REQUIRE_CHROMIUM"
SIZES = {"office": {"width": 1280, "height": 800}, "phone": {"width": 390, "height": 844}}
SCHEMES = ("light", "dark")
WCAG = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]
_QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip
NOT_KNOWN = "not-known"
# From the last key to the first frame with the new page on it, by the browser's own clock.
_WATCH = """() => {
  let pressed = 0;
  addEventListener("keydown", () => { pressed = performance.now(); }, true);
  window.took = new Promise((done) => {
    new MutationObserver((_, self) => {
      self.disconnect();
      requestAnimationFrame(() => done(performance.now() - pressed));
    }).observe(document.body, { attributes: true, attributeFilter: ["data-version"] });
  });
}"""


# What a tired agent has to see of a step without scrolling, and the words that are in sight.
_FIRST_SCREEN = """() => {
  const seen = (box) => box.height > 0 && box.top >= 0 && box.bottom <= innerHeight;
  // a phone tells who leads at what is asked next, not at a check out of turn; an office always
  const lead = innerWidth < 700 ? ".now:not(.aside) > .now-lead" : ".now > .now-lead";
  const parts = { lead, caution: ".caution > p, .caution > ul, .first-told .target",
                  say: ".say", stop: ".stop ul", reading: "#value", unsure: ".unsure" };
  const cut = Object.entries(parts).filter(([, at]) => {
    const one = document.querySelector(`main :is(${at})`);
    return one && !seen(one.getBoundingClientRect());
  }).map(([name]) => name);
  const answers = [...document.querySelectorAll(".answer .target")];
  const away = answers.slice(0, 6).filter((one) => !seen(one.getBoundingClientRect()));
  if (away.length) cut.push(`${away.length} of ${answers.length} answers`);
  let words = 0;
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const range = document.createRange();
  while (walk.nextNode()) {
    const node = walk.currentNode, parent = node.parentElement;
    if (parent.closest(".unseen, .skip, kbd") || !parent.checkVisibility()) continue;
    if (getComputedStyle(parent).clipPath !== "none") continue;
    for (const match of node.data.matchAll(/\\p{L}\\S*/gu)) {
      range.setStart(node, match.index);
      range.setEnd(node, match.index + match[0].length);
      const box = range.getBoundingClientRect();
      words += box.left < innerWidth && seen(box);
    }
  }
  return { cut, words };
}"""
MOST_WORDS = {"office": 160, "phone": 120}


def new_store(folder: Path) -> str:
    """Return the URL of a new store that is set up."""
    url = f"sqlite:///{folder}/store/cases.sqlite3"
    set_up(url).close()
    return url


def missing() -> bool:
    """Return whether Chromium is absent and nobody insists on it."""
    return shutil.which(CHROMIUM) is None and os.environ.get(REQUIRED) != "1"


@contextmanager
def chromium() -> Iterator[Browser]:
    """Run Debian's Chromium without a screen."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=_QUIET)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def screen(
    browser: Browser, url: str, size: str = "office", scheme: str = "light", watched: bool = True
) -> Iterator[Page]:
    """Give a page in a browser profile of its own; what it complains of fails at the end.

    Not ``watched`` where axe-core looks in: it tries out styles, which our policy forbids it.
    """
    context = browser.new_context(
        base_url=url, viewport=SIZES[size], color_scheme=scheme, reduced_motion="reduce"
    )  # type: ignore[call-overload, arg-type, unused-ignore]
    page = context.new_page()
    page.set_default_timeout(30_000)
    said: list[str] = []
    page.on("console", lambda one: said.append(one.text) if one.type == "error" else None)
    page.on("pageerror", lambda one: said.append(str(one)))
    try:
        yield page
        # a refused form and a server that is away are told on the page, and by Chromium too
        bad = [one for one in said if "Failed to load resource" not in one]
        assert not (watched and bad), bad
    finally:
        context.close()


def violations(page: Page, looks: Sequence[tuple[str, str]] = ()) -> list[str]:
    """Return what axe-core finds wrong with the page, against WCAG 2.2 A and AA.

    ``looks`` are sizes with the scheme to look at each in; none is the page as it is.
    """
    found, before = list[str](), page.viewport_size
    for size, scheme in looks:
        page.set_viewport_size(SIZES[size])  # type: ignore[arg-type]
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        found += [f"{size}, {scheme}: {one}" for one in violations(page)]
    if looks:
        assert before is not None
        page.set_viewport_size(before)
        return found
    options = {"runOnly": {"type": "tag", "values": WCAG}}
    return [
        f"{one['id']}: {node['target']} {node.get('failureSummary', '')}"
        for one in Axe().run(page, options=options).response["violations"]
        for node in one["nodes"]
    ]


def first_screen(page: Page) -> tuple[list[str], int]:
    """Return what of a step is not on the first screen, and the words that are in sight."""
    page.evaluate("scrollTo(0, 0)")
    found = page.evaluate(_FIRST_SCREEN)
    return found["cut"], found["words"]


def assert_first_screen(page: Page, check: str) -> None:
    """Hold, on both screens, that a step needs no scrolling and the page does not talk too much."""
    before = page.viewport_size
    assert before is not None
    for size, box in SIZES.items():
        page.set_viewport_size(box)  # type: ignore[arg-type]
        cut, words = first_screen(page)
        assert cut == [], (check, size)
        assert words <= MOST_WORDS[size], (check, size, words)
    page.set_viewport_size(before)


def press(page: Page, key: str) -> None:
    """Press a key once the page hears keys: one that is just put in place is deaf for a moment."""
    page.wait_for_selector("html[data-ready]", state="attached")
    page.keyboard.press(key)


def wait_until(page: Page, true: str) -> None:
    """Wait until a function is true in the page, which lets nobody evaluate texts in itself."""
    for _ in range(600):
        if page.evaluate(true):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never true: {true}")


class Typist:
    """Somebody who has a keyboard and no mouse. ``took`` are the seconds from answer to page."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.keys = page.keyboard
        self.took: list[float] = []

    def tab_to(self, name: str, most: int = 120) -> None:
        """Press Tab until the field with this id, or a control with this text, has the focus."""
        for _ in range(most):
            press(self.page, "Tab")
            if self.page.evaluate(
                "name => { const at = document.activeElement;"
                " return at.id === name || at.textContent.trim().startsWith(name); }", name,
            ):  # fmt: skip
                return
        raise AssertionError(f"Tab never came to '{name}'")

    def start(self, words: Mapping[str, str], digits: str, complaint: str) -> None:
        """Start a call: the machine's name, then one digit a question, then the complaint.

        ``digits`` are duty, symptom, after the complaint the questions as they come, and what is
        at hand, which stands beside the machine's name.
        """
        self.page.goto("/desk")
        press(self.page, "n")
        self.page.wait_for_selector("html[data-ready] #fleet_number:focus")
        self.keys.type(words["fleet_number"])
        self.keys.press("Tab")
        self.keys.type(words["machine_type"])
        self.keys.press("Tab")
        self.keys.press(digits[-1])
        for _ in range(3):
            self.keys.press("Tab")
        self.keys.press(digits[0])
        self.keys.press(digits[1])
        self.keys.insert_text(complaint)
        self.keys.press("Tab")
        for digit in digits[2:-1]:
            self._open_group(digit)
        if self.page.evaluate("document.activeElement.id") != "read_out":
            self.tab_to("read_out")
        self.keys.press("Space")
        self.keys.press("Enter")
        self.page.wait_for_selector("html[data-ready] [data-case] #step")

    def _open_group(self, digit: str) -> None:
        """Answer the next question; before it may stand a summary, or what the complaint may mean,
        which comes when the server has answered."""
        while self.page.evaluate("document.activeElement.closest('summary, #heard') !== null"):
            self.keys.press("Tab")
        self.keys.press(digit)

    @property
    def asked(self) -> str | None:
        """Return the check that is asked, or None."""
        field = self.page.query_selector("form.answer [name=check]")
        return field.get_attribute("value") if field else None

    @property
    def version(self) -> str:
        """Return the version of the case that is shown."""
        return str(self.page.evaluate("document.body.dataset.version"))

    def answer(self, given: Any) -> None:
        """Give an answer by keys alone: an outcome's digit, or a reading and Enter."""
        self.page.wait_for_selector("html[data-ready]", state="attached")  # the keys are heard
        before = self.version
        self.page.evaluate(_WATCH)
        if given == NOT_KNOWN:
            self.keys.press("d" if self.page.query_selector("#value") else "0")
        elif self.page.query_selector("#value"):
            self._reading(str(given))
            self.keys.press("Enter")
        else:
            button = self.page.query_selector(f'form.answer [name=outcome][value="{given}"]')
            assert button is not None, f"{self.asked} has no answer '{given}'"
            self.keys.press(str(button.get_attribute("data-digit")))
        self.page.wait_for_selector(f"body:not([data-version='{before}'])")
        self.took.append(self.page.evaluate("window.took") / 1000)

    def _reading(self, given: str) -> None:
        number, _, unit = given.partition(" ")
        self.keys.type(f"{number} {unit}")
        if self.page.query_selector("#lead_ohms") and unit.endswith("ohm"):
            self.tab_to("lead_ohms", 3)
            self.keys.type("0")

    def go_through(
        self, truth: Mapping[str, Any], look: Callable[[Page, str], None] | None = None,
        most: int = 25,
    ) -> list[str]:  # fmt: skip
        """Answer what is asked from what is true until a repair is due; return what was asked.

        ``look`` is called with the page of each step, before it is answered.
        """
        asked: list[str] = []
        while (check := self.asked) is not None and len(asked) < most:
            if look is not None:
                look(self.page, check)
            asked.append(check)
            self.answer(truth.get(check, NOT_KNOWN))
        return asked


def shoot(page: Page, folder: Path | None, name: str) -> None:
    """Keep a picture of the whole page, where pictures are wanted."""
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=folder / f"{name}.png", full_page=True)
