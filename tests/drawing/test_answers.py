"""What an answer says stands in the drawing: good, suspect, read, to probe; in words as well."""

import re
from typing import Any
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.drawing import circuit_svg, stylesheet, svg
from engine import Diagnoser, Knowledge
from tests.drawing.conftest import MACHINES, SHAPES, machine_of, parsed

SVG = "{http://www.w3.org/2000/svg}"
LOADER = {
    "machine": {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"},
    "findings": [
        {"check": "pull-pin-voltage", "value": 10.9, "unit": "V"},
        {"check": "pull-current", "value": 3.1, "unit": "A"},
    ],
    "limit": 0,
}


def words(root: Element) -> str:
    """Return everything that is written in a drawing, its hard spaces made plain."""
    said = " ".join(node.text or "" for node in root.iter(f"{SVG}text"))
    return re.sub("[\u00a0\u202f]", " ", said)


def part(root: Element, name: str) -> Element:
    """Return the group of a part."""
    return next(one for one in root.iter(f"{SVG}g") if one.get("data-part") == name)


def told(root: Element) -> str:
    """Return the drawing's description in words."""
    return re.sub("[\u00a0\u202f]", " ", root.findtext(f"{SVG}desc") or "")


def with_check(answer: dict[str, Any], check: str) -> dict[str, Any]:
    """Return an answer that proposes this check first."""
    lead = answer["causes"][0]["id"]
    entry = {"check": check, "kind": "meter", "expect": [
        {"cause": lead, "reads": "6.1 to 11.6 V"}, {"cause": "healthy", "reads": "0.1 to 0.5 V"}
    ]}  # fmt: skip
    return {**answer, "next_checks": [entry]}


@pytest.fixture(scope="module")
def answer(engine: Diagnoser) -> dict[str, Any]:
    """The answer about the loader: its ground is suspected, its pull feed proven."""
    found: dict[str, Any] = engine.diagnose(LOADER)
    return found


@pytest.mark.parametrize("shape", SHAPES)
def test_cleared_parts_are_good(knowledge: Knowledge, answer: dict[str, Any], shape: str) -> None:
    """A live pull pin under load proves the fuse: it is marked, written and told as good.

    That a circuit is proven up to the point where its voltage is present under load is common
    practice of the trade.
    """
    root = parsed(svg(knowledge, LOADER, answer, shape=shape))
    assert part(root, "fuse").get("data-state") == "good"
    assert float(part(root, "fuse").get("stroke-width", "0")) > 3
    assert words(root).count(" good") > 3
    assert re.search(r"Proven good: [^.]*pull fuse and holder", told(root))


def test_what_is_not_proven_is_not_good(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """Neither the ground, which is suspected, nor the hold wire, which nobody tried, is good."""
    root = parsed(svg(knowledge, LOADER, answer))
    assert part(root, "ground").get("data-state") == "suspect"
    assert part(root, "hold-wire").get("data-state") is None


def test_causes_that_are_not_listed_may_still_be_there(
    knowledge: Knowledge, answer: dict[str, Any]
) -> None:
    """With one cause listed at 60 %, the rest may sit anywhere that is not cleared."""
    lead = {**answer["causes"][0], "probability": 0.6}
    root = parsed(svg(knowledge, LOADER, {**answer, "causes": [lead]}))
    assert part(root, "fuse").get("data-state") is None  # its contact may be resistive
    assert part(root, "relay-coil").get("data-state") == "good"  # nothing else can be wrong there


def test_suspects_are_marked_at_their_part(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """The leading cause stands at the ground in a dashed outline, with number and percentage."""
    lead = answer["causes"][0]
    assert lead["id"] == "ground-resistive"
    root = parsed(svg(knowledge, LOADER, answer))
    outline = part(root, "ground").findall(f"{SVG}rect")[-1]
    assert outline.get("stroke-dasharray")
    percent = f"{100 * lead['probability']:.0f} %"
    assert f"S1 {percent}" in words(root)
    assert f"Suspect 1: {lead['name']}, {percent}, at body bond to the chassis." in told(root)


def test_who_is_hardly_suspected_is_not_marked(
    knowledge: Knowledge, answer: dict[str, Any]
) -> None:
    """Of 5 in 100 a cause is a suspect; with less it is neither marked nor in the list."""
    lead = answer["causes"][0]
    for chance, marked in ((0.05, True), (0.049, False)):
        root = parsed(svg(knowledge, LOADER, {
            **answer, "causes": [{**lead, "probability": chance}]
        }))  # fmt: skip
        assert (part(root, "ground").get("data-state") == "suspect") == marked
        assert ("Suspects" in words(root)) == marked


def test_a_probe_that_tells_no_suspects_apart_expects_nothing(
    knowledge: Knowledge, answer: dict[str, Any]
) -> None:
    """Where all suspects read alike the drawing does not say it of each."""
    chosen = with_check(answer, "fuse-drop-voltage")["next_checks"][0]
    assert "if S1" in words(parsed(svg(knowledge, LOADER, answer, check=chosen)))
    alike = [{**one, "reads": "0.1 to 0.5 V"} for one in chosen["expect"]]
    root = parsed(svg(knowledge, LOADER, answer, check={**chosen, "expect": alike}))
    assert "0.1 to 0.5 V" not in told(root).partition("Red lead")[2]


def test_a_consequence_is_not_where_a_cause_sits(
    knowledge: Knowledge, answer: dict[str, Any]
) -> None:
    """Welded contacts may have burned the pull winding; they are shown at the contact alone."""
    cause = {"id": "relay-contacts-welded", "name": "x", "probability": 0.9, "evidence": []}
    root = parsed(svg(knowledge, LOADER, {**answer, "causes": [cause], "proofs": []}))
    assert part(root, "relay-contact").get("data-state") == "suspect"
    assert part(root, "pull-winding").get("data-state") is None


def test_a_cause_outside_the_wiring_is_said(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """A plunger that does not reach its stop is no part of the wiring: the list says so."""
    cause = {"id": "travel-short", "name": "Short travel", "probability": 0.9, "evidence": []}
    root = parsed(svg(knowledge, LOADER, {**answer, "causes": [cause]}))
    assert "Short travel (not in the wiring)" in words(root)
    assert "not in the wiring" in told(root)


@pytest.mark.parametrize("shape", SHAPES)
def test_leads_stand_where_they_touch(
    knowledge: Knowledge, answer: dict[str, Any], shape: str
) -> None:
    """R and B stand at the two points of the next check, and what they touch is said with when."""
    drawn = with_check(answer, "ground-side-voltage")
    root = parsed(svg(knowledge, LOADER, drawn, shape=shape))
    letters = {
        one.get("data-point"): one.findtext(f"{SVG}text")
        for one in root.iter(f"{SVG}g")
        if one.get("data-point") and one.findtext(f"{SVG}text")
    }  # fmt: skip
    assert letters == {"ground-point": "R", "battery-negative": "B"}
    said = told(root)
    assert "Red lead +: bare metal on the solenoid body." in said
    assert "Black lead: battery negative post." in said
    assert "Plug fitted, while the engine is cranked." in said
    assert "If healthy 0.1 to 0.5 V" in said


def test_plug_off_is_said(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """Ohms of the winding are taken with the plug off and the key off."""
    drawn = with_check(answer, "pull-winding-ohms")
    assert "Plug off, key off." in told(parsed(svg(knowledge, LOADER, drawn)))


def test_a_clamp_goes_around_its_wire(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """A current has no two points: the wire to clamp is marked in the drawing and in words."""
    root = parsed(svg(knowledge, LOADER, with_check(answer, "hold-current")))
    assert "clamp here" in words(root)
    assert "Clamp meter around: hold wire." in told(root)


def test_another_check_can_be_shown(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """The check to do can be given; it wins over the answer's first."""
    chosen = with_check(answer, "fuse-drop-voltage")["next_checks"][0]
    root = parsed(svg(knowledge, LOADER, with_check(answer, "hold-current"), check=chosen))
    assert "Red lead +: feed side of the pull fuse." in told(root)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_cut_out_is_what_is_around_the_leads(
    knowledge: Knowledge, answer: dict[str, Any], shape: str
) -> None:
    """A cut-out is as high as is asked for, both leads in it, and no text is cut through."""
    asked = with_check(answer, "fuse-drop-voltage")
    root = parsed(svg(knowledge, LOADER, asked, shape=shape, cut=300.0))
    left, top, _, tall = map(float, root.get("viewBox", "").split())
    assert (left, tall) == (0.0, 300.0)
    leads = [float(one.get("cy", "0")) for one in root.iter(f"{SVG}circle")
             if "tw-lead" in (one.get("class") or "")]  # fmt: skip
    assert len(leads) >= 2
    assert all(top < y < top + tall for y in leads)
    for one in root.iter(f"{SVG}text"):
        if one.get("text-anchor") is None:
            assert top + 9 <= float(one.get("y", "0")) <= top + tall
    nowhere = svg(knowledge, LOADER, with_check(answer, "recent-work"), shape=shape, cut=300.0)
    assert nowhere == ""


def test_readings_stand_at_their_points(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """What was read, a healthy circuit's band and the leading cause's stand at the pull pin."""
    root = parsed(svg(knowledge, LOADER, answer))
    evidence = next(one for one in answer["causes"][0]["evidence"] if one["finding"] == 0)
    said = words(root)
    assert "read 10.9 V" in said
    assert f"healthy {evidence['expected_if_healthy']}" in said
    assert f"if S1 {evidence['expected_if_cause']}" in said
    assert "At pull pin, harness side of the plug: read 10.9 V" in told(root)


def test_a_reading_that_does_not_count_says_so(knowledge: Knowledge, engine: Diagnoser) -> None:
    """Ohms to the dead third pin of a body-ground plug are set aside, in the drawing too."""
    request = {**LOADER, "findings": [
        {"check": "pull-winding-ohms", "outcome": "open", "measured_to": "ground-pin"}
    ]}  # fmt: skip
    root = parsed(svg(knowledge, request, engine.diagnose(request)))
    assert "set aside, does not count" in told(root)


def test_nothing_to_check_says_what_to_do(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """Without a next check the advice stands in its place."""
    drawn = {**answer, "next_checks": [], "advice": {"because": "Repair in this order."}}
    assert "Repair in this order." in told(parsed(svg(knowledge, LOADER, drawn)))


@pytest.mark.parametrize("machine", [one for one in MACHINES if "unknown" in one])
def test_what_is_not_known_is_said(knowledge: Knowledge, machine: tuple[str, str, str]) -> None:
    """An unknown control type or coil style is drawn as far as it goes, and said in words."""
    root = parsed(svg(knowledge, {"machine": machine_of(*machine)}, {}))
    said = told(root)
    assert ("Control type not known" in said) == (machine[1] == "unknown")
    assert ("Coil style not known" in said) == (machine[2] == "unknown")
    assert part(root, "pull-winding") is not None


def test_two_solenoids_are_kept_apart(knowledge: Knowledge, engine: Diagnoser) -> None:
    """A reading on the right solenoid does not stand in the drawing of the left one."""
    request = {
        "machine": machine_of("brake-release", "ignition-timed", "case-ground") | {"solenoids": 2},
        "findings": [
            {"check": "pull-pin-voltage", "value": 10.9, "unit": "V", "side": "left"},
            {"check": "hold-pin-voltage", "value": 3.3, "unit": "V", "side": "right"},
        ],
    }
    found = engine.diagnose(request)
    left = words(parsed(svg(knowledge, request, found)))
    right = words(parsed(svg(knowledge, request, found, side="right")))
    assert "read 10.9 V" in left and "3.3 V" not in left and "Left side" in left  # noqa: PT018
    assert "read 3.3 V" in right and "10.9 V" not in right  # noqa: PT018


@pytest.mark.parametrize("shape", SHAPES)
def test_embedded_has_no_style_of_its_own(
    knowledge: Knowledge, answer: dict[str, Any], shape: str
) -> None:
    """What a page with a strict policy takes in has neither style element nor attribute nor script.

    Content Security Policy Level 3, style-src without 'unsafe-inline' blocks both.
    """
    drawn = with_check(answer, "ground-side-voltage")
    root = parsed(svg(knowledge, LOADER, drawn, shape=shape, embed=True))
    for node in root.iter():
        assert node.tag.removeprefix(SVG) in {"svg", "title", "desc", "g", "path", "rect",
                                              "circle", "text"}  # fmt: skip
        assert "style" not in node.attrib
        assert not any(name.startswith("on") or "href" in name for name in node.attrib)
    alone = parsed(svg(knowledge, LOADER, drawn, shape=shape))
    assert alone.findtext(f"{SVG}style") == stylesheet()


def test_every_class_is_styled(knowledge: Knowledge, answer: dict[str, Any]) -> None:
    """The style sheet styles the classes that the drawing uses, and no others."""
    used: set[str] = set()
    for check in ("ground-side-voltage", "hold-current"):
        drawn = with_check(answer, check)
        for node in parsed(svg(knowledge, LOADER, drawn)).iter():
            used |= set(node.get("class", "").split())
    styled = set(re.findall(r"\.(tw-[a-z-]+)", stylesheet()))
    assert styled <= used
    groups = {"tw-wires", "tw-parts", "tw-points", "tw-point", "tw-labels", "tw-wide"}
    assert used - styled == groups


@pytest.mark.parametrize("shape", SHAPES)
def test_text_is_large_enough(knowledge: Knowledge, answer: dict[str, Any], shape: str) -> None:
    """No text is set smaller than 12 pixels at 1:1."""
    root = parsed(svg(knowledge, LOADER, answer, shape=shape))
    assert {float(one.get("font-size", "0")) >= 12 for one in root.iter(f"{SVG}text")} == {True}


@pytest.mark.parametrize("shape", SHAPES)
def test_it_is_a_picture_with_words(knowledge: Knowledge, shape: str) -> None:
    """Title and description are there and the picture points to them (SVG 2, WAI-ARIA 1.2)."""
    root = parsed(circuit_svg(knowledge, "fuel-shutoff-ignition-timed", "case-ground", shape=shape))
    assert root.get("role") == "img"
    ids = {one.get("id"): one.text for one in root if one.get("id")}
    assert ids[root.get("aria-labelledby")]
    assert "Pull winding" in (ids[root.get("aria-describedby")] or "")


@given(said=st.text(max_size=60) | st.sampled_from(
    ["<script>alert(1)</script>", "]]>&lt;", "\ud800", "a\x00b", "</svg>", "'\"><g onload=x>"]
))  # fmt: skip
def test_words_from_outside_stay_words(said: str) -> None:
    """Whatever stands in a request or an answer, the drawing is one well-formed picture."""
    knowledge = _knowledge()
    cause = {"id": "fuse-open", "name": said or "x", "probability": 0.5, "evidence": []}
    request = {
        "machine": machine_of("fuel-shutoff", "ignition-timed", "case-ground"),
        "findings": [{"check": "pull-pin-voltage", "outcome": said, "note": said}],
    }
    answer = {"causes": [cause], "next_checks": [], "advice": {"because": said}}
    root = parsed(svg(knowledge, request, answer, shape="tall", embed=True))
    names = {node.tag.removeprefix(SVG) for node in root.iter()}
    assert names <= {"svg", "title", "desc", "g", "path", "rect", "circle", "text"}
    assert not any(name.startswith("on") for node in root.iter() for name in node.attrib)


def _knowledge() -> Knowledge:
    """Return the shipped knowledge base, loaded once (hypothesis takes no fixtures)."""
    from engine.diagnosis import shipped

    return shipped().knowledge
