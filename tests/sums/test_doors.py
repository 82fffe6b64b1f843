"""The doors say the same, explain themselves, and refuse in words."""

import json
from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from click.testing import Result
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.sums import MANUAL, SUMS, compute
from api.sums.plot import svg
from engine import Knowledge, RequestError
from engine.knowledge import Fault
from tests.sums.conftest import Work, words
from tests.sweeps import swept

NAMES = list(SUMS)


@pytest.mark.parametrize("name", NAMES)
def test_doors_give_the_same_bytes(
    client: FlaskClient, run: Callable[..., Result], name: str
) -> None:
    """The command prints, byte for byte, what the service answers."""
    example = dict(SUMS[name].example)
    served = client.post(f"/v1/sums/{name}", json=example)
    assert served.status_code == 200
    assert run("sum", name, "--json", *words(example)).stdout_bytes == served.data


@pytest.mark.parametrize("name", NAMES)
def test_answers_rest_on_something(knowledge: Knowledge, name: str) -> None:
    """Every answer has a sentence, a formula, a source, what it assumes, and the manual's word."""
    answer = compute(knowledge, name, dict(SUMS[name].example))
    for part in ("says", "formula", "source"):
        assert len(answer[part]) > 10
    assert answer["assumptions"]
    assert answer["cautions"][-1] == MANUAL


def test_list_tells_every_field(client: FlaskClient) -> None:
    """The list names each sum with its fields, each with a meaning, and limits or words."""
    body = client.get("/v1/sums").json
    assert [one["id"] for one in body["sums"]] == NAMES
    assert body["count"] == len(NAMES)
    for one in body["sums"]:
        assert client.get(f"/v1/sums/{one['id']}").json == one
        for field in one["fields"]:
            assert field["what"].endswith(".")
            assert "one_of" in field or field["low"] < field["high"]


def test_units_stand_in_the_keys() -> None:
    """A number with a unit has a key that says it, or its unit is a field or a plain count."""
    spoken = {
        "V": ("volts",), "A": ("amperes", "amps"), "ohm": ("ohms", "resolution"),
        "C": ("celsius",), "m": ("metres",), "mm": ("mm",), "g": ("grams",), "s": ("seconds",),
        "%": ("percent",), "J/K": ("joules_per_kelvin",), "mm2": ("mm2",), "AWG": ("awg",),
        "counts": ("counts",), "": ("",),
    }  # fmt: skip
    for sum_ in SUMS.values():
        for field in sum_.fields:
            assert field.name.endswith(spoken[field.unit]), field.name


@pytest.mark.parametrize("path", ["fuse-openin", "fuse-openings"])
def test_unknown_sum_names_the_nearest(
    client: FlaskClient, run: Callable[..., Result], path: str
) -> None:
    """A sum that does not exist is a 404, and exit 1, with the nearest that does."""
    for answer in (client.get(f"/v1/sums/{path}"), client.post(f"/v1/sums/{path}", json={})):
        assert answer.status_code == 404
        assert "did you mean 'fuse-opening'?" in answer.get_json(force=True)["detail"]
    done = run("sum", path, "fuse_amps=30")
    assert done.exit_code == 1
    assert "did you mean 'fuse-opening'?" in done.output


BAD = [
    ("winding-current", {"volts": 12}, ["ohms: give exactly two of"]),
    ("winding-current", {"volts": 12, "ohms": 0.3, "amperes": 40}, ["amperes: give exactly two"]),
    ("winding-current", {"volts": 12, "ohms": 0.2, "lead_ohms": 0.2}, ["lead_ohms: the leads"]),
    ("winding-current", {"volts": 12, "amperes": 2, "lead_ohms": 0.2}, ["lead_ohms: leads are"]),
    ("feed-drop", {"amperes": 10, "one_way_metres": 1}, ["awg: give exactly one of awg, mm2"]),
    ("feed-drop", {"amperes": 10, "one_way_metres": 1, "mm2": 3}, ["mm2: must be one of 0.5,"]),
    ("feed-drop", {"amperes": 10, "one_way_metres": 1, "awg": 20}, ["awg: the table has no"]),
    ("feed-drop", {"amperes": 10, "one_way_metres": 1, "awg": 16, "cable": "class-5"},
     ["cable: with awg it is one of vehicle, full-awg"]),
    ("feed-drop", {"amperes": -1, "awg": 14, "metres": 3, "cable": "vehicel"},
     ["amperes: must be from", "cable: unknown word 'vehicel' (did you mean 'vehicle'?)",
      "metres: is not a field here", "one_way_metres: is missing"]),
    ("fuse-opening", {"fuse_amps": 30}, ["amperes: is missing"]),
    ("fuse-opening", {"fuse_amps": 30, "volts": 12}, ["ohms: is missing; volts alone"]),
    ("fuse-opening", {"fuse_amps": 30, "volts": 12, "amperes": 3}, ["volts: give either"]),
    ("fuse-opening", {"fuse_amp": 30, "amperes": 3},
     ["did you mean 'fuse_amps'?", "fuse_amps: is missing"]),
    ("pull-on-time", {"volts": 12, "ohms": 0.3}, ["wire_mm: give exactly one of"]),
    ("pull-on-time", {"volts": 12, "ohms": 0.3, "wire_mm": 1, "start_celsius": 120},
     ["start_celsius: is not below class A"]),
    ("pull-on-time", {"volts": "twelve", "ohms": 0.3, "wire_mm": 1}, ["volts: must be a number"]),
    ("pull-in-margin", {"supply_volts": 8, "system_volts": 48}, ["system_volts: must be one of"]),
    ("which-pin", {"ab_ohms": 0.1, "bc_ohms": "opn", "ca_ohms": 1, "pull_ohms": 0.3,
                   "hold_ohms": 15}, ["bc_ohms: must be a number, or 'open' for over range"]),
    ("which-pin", {"ab_ohms": 0.1, "bc_ohms": "open", "ca_ohms": 0.2, "pull_ohms": 3,
                   "hold_ohms": 2, "lead_ohms": 0.3},
     ["ab_ohms: is less", "ca_ohms: is less", "hold_ohms: must be more"]),
    ("meter-verdict", {"reading": 1, "unit": "V"}, ["low: give low, high, or both"]),
    ("meter-verdict", {"reading": 1, "unit": "V", "low": 3, "high": 2}, ["high: must be above"]),
    ("meter-verdict", {"reading": 1, "unit": "V", "low": 3, "lead_ohms": 1}, ["lead_ohms: leads"]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "inputs", "says"), BAD)
def test_every_bad_field_is_named(
    client: FlaskClient, run: Callable[..., Result], name: str, inputs: dict[str, Any],
    says: list[str],
) -> None:  # fmt: skip
    """What does not fit is refused field by field, with 422 by the service and 1 by the command."""
    answer = client.post(f"/v1/sums/{name}", json=inputs)
    assert answer.status_code == 422
    assert answer.mimetype == "application/problem+json"
    errors = answer.get_json(force=True)["errors"]
    told = [f"{one['path']}: {one['message']}" for one in errors]
    assert len(told) == len(says)
    assert all(words in line for words, line in zip(says, told, strict=True)), told
    done = run("sum", name, *words(inputs))
    assert done.exit_code == 1
    assert done.stderr.splitlines() == [f"threewire: {line}" for line in told]


SCALAR = (
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False)
    | st.integers(-(10**30), 10**30) | st.text(max_size=8) | st.just("open")
)  # fmt: skip
JUNK = st.recursive(
    SCALAR,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
)


@pytest.mark.parametrize("name", swept(NAMES, 3))
def test_no_json_breaks_a_sum(client: FlaskClient, name: str) -> None:
    """Whatever JSON is sent, on known fields or unknown, the answer is 200, 400 or 422."""
    fields = st.sampled_from([field.name for field in SUMS[name].fields])

    @settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
    @given(body=JUNK | st.dictionaries(fields | st.text(max_size=5), JUNK, max_size=6))
    def send(body: Any) -> None:
        raw = json.dumps(body).encode()
        answer = client.post(f"/v1/sums/{name}", data=raw, content_type="application/json")
        assert answer.status_code in (200, 400, 422)
        if answer.status_code == 422:
            assert answer.get_json(force=True)["errors"]

    send()


def _entries(name: str) -> st.SearchStrategy[dict[str, Any]]:
    """Inputs within the limits that the sum itself states; any field may be left out."""
    schema = SUMS[name].json_schema()["properties"]
    return st.fixed_dictionaries({}, optional={key: _value(one) for key, one in schema.items()})


def _value(one: dict[str, Any]) -> st.SearchStrategy[Any]:
    known = one.get("allOf", [one])[0].get("enum")
    if known:
        return st.sampled_from(known)
    number = one.get("oneOf", [one])[0]
    limits = st.floats(number["minimum"], number["maximum"])
    return limits | st.just("open") if "oneOf" in one else limits


@pytest.mark.parametrize("name", swept(NAMES, 3, 1))
def test_inputs_within_limits_are_answered_or_refused(knowledge: Knowledge, name: str) -> None:
    """At any corner of the limits a sum gives finite figures, a curve that can be drawn, or a
    fault with a path; it never breaks."""
    refused: list[list[Fault]] = []

    @settings(suppress_health_check=list(HealthCheck))
    @given(inputs=_entries(name))
    def work(inputs: dict[str, Any]) -> None:
        for given_ in (inputs, dict(SUMS[name].example) | inputs):
            try:
                answer = compute(knowledge, name, given_)
            except RequestError as error:
                pathless = [fault for fault in error.faults if not fault.path]
                refused.append(pathless)
                continue
            json.dumps(answer, allow_nan=False)
            if answer["curve"]:
                ET.fromstring(svg(answer["curve"], answer["title"]))  # noqa: S314 - our own

    work()
    assert refused
    assert not any(refused)


def test_command_lists_and_explains(run: Callable[..., Result]) -> None:
    """Without a sum all are listed; without values its fields are explained."""
    listed = run("sum").stdout
    assert all(f"{name}: " in listed for name in NAMES)
    for name in NAMES:
        done = run("sum", name)
        assert done.exit_code == 0
        assert all(field.name in done.stdout for field in SUMS[name].fields)


def test_command_prints_the_grounds(run: Callable[..., Result]) -> None:
    """The printed answer has the figure with its unit, the formula, the source and the dangers."""
    printed = run("sum", "pull-on-time", "volts=12", "ohms=.300", "wire_mm=1.2").stdout
    out = " ".join(printed.split())  # wherever a line ends
    for part in ("15.87 s", "Formula: t = ", "Source: ", "IEC 60085", "MIND", MANUAL):
        assert part in out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["volts"], "'volts': write it as NAME=VALUE"),
        (["=3", "volts=", "x=1"], "'=3': write it as NAME=VALUE"),
        (["volts=1", "volts=2"], "volts: given twice"),
        (["volts=1e999", "ohms=3"], "volts: must be a finite number"),
        (["volts=true", "ohms=3"], "volts: must be a number, not 'true'"),
    ],
)
def test_command_refuses_words_that_are_no_values(
    run: Callable[..., Result], arguments: list[str], says: str
) -> None:
    """What is not NAME=VALUE with a number is refused with exit status 1 and the reason."""
    done = run("sum", "winding-current", *arguments)
    assert done.exit_code == 1
    assert says in done.stderr


def test_same_inputs_same_answer(doors: dict[str, Work]) -> None:
    """A number typed in another way is the same number, and so is the answer."""
    answers = [
        doors["command"]("winding-current", {"volts": volts, "ohms": ".3"})
        for volts in ("12", "12.0", "1.2e1", "+12")
    ]
    assert all(answer == answers[0] for answer in answers)
