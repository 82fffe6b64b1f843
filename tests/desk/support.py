"""A browser without a screen: keeps cookies, fills in the forms that a page has, and sends them."""

import html
import re
from html.parser import HTMLParser
from typing import Any

from flask import Flask
from werkzeug.test import TestResponse

READ_OUT = {"read_out": "1"}
FUEL = {**READ_OUT, "duty": "1", "control-fuel-shutoff": "2", "coil": "2", "system_volts": "1",
        "symptom-fuel-shutoff": "cranks-no-start", "fleet_number": "7",
        "machine_type": "compact track loader"}  # fmt: skip
BRAKE = {**READ_OUT, "duty": "2", "control-brake-release": "2", "coil": "1", "system_volts": "1",
         "solenoids": "2", "side": "2", "symptom-brake-release": "will-not-release",
         "fleet_number": "42", "machine_type": "site dumper"}  # fmt: skip


TAG = re.compile(r"<!--.*?-->|<[^>]+>", re.DOTALL)


class _Form(HTMLParser):
    """Reads a form's hidden fields and what its menus stand at."""

    MANY = ("caution", "of_step")  # fields that a form may have more than once

    def __init__(self) -> None:
        super().__init__()
        self.fields: dict[str, Any] = {}
        self.menu = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        if tag == "input" and found.get("type") == "hidden":
            fields, name = self.fields, found["name"]
            more = [*fields.get(name, ()), found["value"]] if name in self.MANY else found["value"]
            fields[name] = more
        if tag == "select":
            self.menu = found["name"]
        if tag == "option" and ("selected" in found or self.menu not in self.fields):
            self.fields[self.menu] = found["value"]


def text_of(response: TestResponse) -> str:
    """Return the words of a page, blanks made one."""
    return " ".join(html.unescape(TAG.sub(" ", response.text)).split())


def in_sight(response: TestResponse) -> str:
    """Return the words of a page from its caution up to what is said, without what is closed."""
    page = re.sub(r"<details.*?</details>", " ", response.text, flags=re.DOTALL)
    words = re.sub(r"<[^>]+>", " ", page.partition('class="caution"')[2].partition('class="say')[0])
    return " ".join(html.unescape(words).split())


class Browser:
    """One browser: what it was last shown, and what can be sent from there."""

    def __init__(self, app: Flask) -> None:
        self.client = app.test_client()
        self._page: TestResponse | None = None

    @property
    def page(self) -> TestResponse:
        """The page that is shown, at first that of the calls."""
        return self._page or self.get("/desk")

    @page.setter
    def page(self, shown: TestResponse) -> None:
        self._page = shown

    def get(self, address: str) -> TestResponse:
        """Open a page and keep it as the one that is shown."""
        self.page = self.client.get(address)
        return self.page

    def hidden(self, action: str) -> dict[str, Any]:
        """Return what the form that leads to ``action`` sends by itself: hidden fields, menus."""
        found, page = _Form(), self.page.text
        to = re.escape(html.escape(action))
        form = re.search(rf'<form\b[^>]* action="{to}".*?</form>', page, re.DOTALL)
        assert form, f"no form to {action} among {re.findall(r'<form[^>]*>', page)}"
        found.feed(form[0])
        return found.fields

    def send(self, action: str, **fields: Any) -> TestResponse:
        """Fill in the shown page's form to ``action`` and send it; a redirect is not followed."""
        data = {**self.hidden(action), **{k.replace("__", "-"): v for k, v in fields.items()}}
        response = self.client.post(action, data=data)
        if response.status_code != 303:
            self.page = response
        return response

    def follow(self, response: TestResponse) -> TestResponse:
        """Open the page that a form led to."""
        assert response.status_code == 303, text_of(response)
        return self.get(response.headers["Location"])

    def start(self, fields: dict[str, str] | None = None, **more: str) -> str:
        """Start a call, warnings read out, and return the address of its case, which is shown."""
        self.get("/desk/call")
        self.follow(self.send("/desk/call", **{**READ_OUT, **(fields or FUEL), **more}))
        found = re.search(r'data-case="([^"]+)"', self.page.text)
        assert found is not None
        return found.group(1)

    def answer(self, case: str, check: str, **fields: Any) -> TestResponse:
        """Answer a check of a case, whatever is asked now, and return the response."""
        self.join(case, check)
        return self.send(f"{case}/answers", **fields)

    def join(self, case: str, check: str) -> TestResponse:
        """Open a step of a case, its machine's warnings read out where they still were to be."""
        page = self.get(f"{case}?check={check}")
        return self.follow(self.send(f"{case}/told")) if "first-told" in page.text else page

    @property
    def version(self) -> int:
        """Return the version of the case that is shown."""
        found = re.search(r'data-version="(\d+)"', self.page.text)
        assert found is not None
        return int(found.group(1))
