"""The generated reference: whole, linked, and safe to serve."""

from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from flask.testing import FlaskClient

from api.curation.facts import KINDS, shelf, title_of
from api.curation.reference import Site, render_groups, render_index, render_page
from engine import Knowledge
from engine.audit.separation import Survey
from tests.sweeps import swept

VOID = {"meta", "link", "input", "br"}


class Reader(HTMLParser):
    """Reads a page: text, links, ids, and whether every element is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.ids: set[str] = set()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.words: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == [], self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that begins."""
        self.tags.add(tag)
        for name, value in attrs:
            self.attributes.add(name)
            if name in ("href", "src") and value is not None:
                self.links.append(value)
            if name == "id" and value is not None:
                self.ids.add(value)
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """Note an element that ends; it must be the one that began last."""
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.words += data.split()

    @property
    def text(self) -> str:
        """Return the text of the page."""
        return " ".join(self.words)


def addresses(knowledge: Knowledge) -> list[tuple[str, str]]:
    """Return kind and name of every item."""
    return [(kind, name) for kind in KINDS for name in shelf(knowledge, kind)]


@pytest.fixture(scope="module")
def pages(survey: Survey) -> dict[str, Reader]:
    """A part of the pages, read, under the addresses that they are served at."""
    top, below = Site(survey.knowledge), Site(survey.knowledge, root="../")
    made = {"": render_index(top), "groups.html": render_groups(survey, top)}
    for kind, name in swept(addresses(survey.knowledge), 12):
        made[f"{kind}/{name}.html"] = render_page(survey, below, kind, name)
    return {path: Reader(text) for path, text in made.items()}


@pytest.mark.parametrize("kind", KINDS)
def test_no_item_is_missing(pages: dict[str, Reader], knowledge: Knowledge, kind: str) -> None:
    """Every cause, check, rule, circuit and table has a page, and the index leads to it."""
    linked = set(pages[""].links)
    for name, item in shelf(knowledge, kind).items():
        path = f"{kind}/{name}.html"
        assert path in linked, path
        if path in pages:
            text = pages[path].text
            assert " ".join(title_of(item).split()) in text
            assert name in text
            assert item.file in text


def test_prose_of_causes_checks_and_rules_is_there(
    pages: dict[str, Reader], knowledge: Knowledge
) -> None:
    """A page holds all that its file says to people."""
    said: dict[str, tuple[str, ...]] = {}
    for cause in knowledge.causes.values():
        said[f"causes/{cause.id}"] = cause.looks_like, cause.remedy, cause.proof_of_repair
    for check in knowledge.checks.values():
        said[f"checks/{check.id}"] = check.say, check.how, check.why
    for rule in knowledge.rules.values():
        because = rule.because
        said[f"rules/{rule.id}"] = because.found, because.points, because.next
    read = {path: page.text for path, page in pages.items() if path.removesuffix(".html") in said}
    assert {path.split("/")[0] for path in read} == {"causes", "checks", "rules"}
    for path, text in read.items():
        for prose in said[path.removesuffix(".html")]:
            assert prose in text, path


def test_every_link_leads_somewhere(pages: dict[str, Reader], knowledge: Knowledge) -> None:
    """No link of any page is dead, neither its file nor the place in it, and none leaves."""
    there = {"style.css", "", "groups.html"}
    there |= {f"{kind}/{name}.html" for kind, name in addresses(knowledge)}
    for path, page in pages.items():
        for link in page.links:
            parts = urlsplit(link)
            assert not parts.scheme, (path, link)
            assert not parts.netloc, (path, link)
            target = urljoin(f"/{path}", parts.path).removeprefix("/")
            assert target in there, (path, link)
            if parts.fragment and target in pages:
                assert parts.fragment in pages[target].ids, (path, link)


def test_pages_work_under_the_strict_policy(pages: dict[str, Reader]) -> None:
    """Nothing that the Content-Security-Policy forbids is on a page: no script, no inline style."""
    for path, page in pages.items():
        assert not page.tags & {"script", "style", "img", "iframe", "object", "base"}, path
        assert not {one for one in page.attributes if one.startswith("on")} | (
            page.attributes & {"style"}
        ), path
    sheet = Path(__file__).parents[2] / "api" / "curation" / "reference.css"
    assert "url(" not in sheet.read_text(encoding="utf-8")
    assert "@import" not in sheet.read_text(encoding="utf-8")


def test_served_pages_are_these(client: FlaskClient, pages: dict[str, Reader]) -> None:
    """The service serves the same pages, with a policy that lets only its own style sheet in."""
    some = [next(path for path in pages if path.startswith(kind)) for kind in ("causes", "rules")]
    for path in (*some, "groups.html"):
        served = client.get(f"/reference/{path}")
        assert served.status_code == 200
        assert served.mimetype == "text/html"
        policy = served.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "style-src 'self'" in policy
        assert "unsafe" not in policy
        assert Reader(served.text).text == pages[path].text
    style = client.get("/reference/style.css")
    assert style.mimetype == "text/css"
    assert client.get("/reference/groups.html", headers={
        "If-None-Match": client.get("/reference/groups.html").headers["ETag"]
    }).status_code == 304  # fmt: skip


@pytest.mark.parametrize("address", ["/reference/", "/reference"])
def test_links_of_the_served_index_work(client: FlaskClient, address: str) -> None:
    """With the closing slash or without it, the links of the index lead to pages."""
    page = Reader(client.get(address).text)
    for link in ["causes/fuse-open.html", "style.css", "groups.html"]:
        found = next(one for one in page.links if one.endswith(link))
        assert client.get(urljoin(f"http://localhost{address}", found)).status_code == 200


def test_search_finds_items_with_every_word(client: FlaskClient) -> None:
    """The plain form narrows the list to items that have all of the words."""
    page = Reader(client.get("/reference/?q=Third+PIN&kind=rules").text)
    found = [one for one in page.links if one.startswith("rules/")]
    assert "rules/ohms-to-dead-pin-body-ground.html" in found
    assert not [one for one in page.links if one.startswith("causes/")]
    assert len(found) < 40
    assert "Nothing has all of these words" in client.get("/reference/?q=xyzzy").text


def test_what_is_typed_is_not_taken_as_markup(client: FlaskClient) -> None:
    """Words that look like HTML are shown as they were typed."""
    text = client.get("/reference/?q=%22%3E%3Cscript%3Ealert(1)").text
    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_page_that_is_not_there(client: FlaskClient) -> None:
    """A person gets a page and a program a problem document; both name the nearest."""
    for path in ("causes/fuse-opn.html", "cause/fuse-open.html"):
        person = client.get(f"/reference/{path}", headers={"Accept": "text/html"})
        assert person.status_code == 404
        assert person.mimetype == "text/html"
        assert "did you mean" in person.text
        program = client.get(f"/reference/{path}")
        assert program.status_code == 404
        assert program.mimetype == "application/problem+json"
        assert "did you mean" in program.get_json(force=True)["detail"]
