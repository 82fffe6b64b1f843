"""Published values of the sums; that each door gives the same stands in test_doors."""

import math
from statistics import NormalDist
from typing import Any

import pytest

from engine import Knowledge
from tests.sums.conftest import Work

FOOT = 0.3048
WIRE = {"ohms": 0.3, "wire_mm": 1.2}

# sum, inputs, what must come out, and who printed it. "calc" is arithmetic redone by hand from
# the stated inputs and the constants of the standard named.
Row = tuple[str, dict[str, Any], dict[str, Any], str]
PUBLISHED: list[Row] = [
    ("winding-current", {"ohms": 80, "volts": 100, "winding_celsius": 83.63},
     {"ohms": 100.0, "amperes": 1.0}, "published worked problem: 80 ohm at 20 C, rise 63.63 K"),
    ("winding-current", {"ohms": 20, "volts": 11, "measured_celsius": 15, "winding_celsius": 39.95},
     {"ohms": 22.0, "amperes": 0.5}, "published worked problem: 20 ohm at 15 C, 22 at 39.95 C"),
    ("winding-current",
     {"ohms": 0.5, "lead_ohms": 0.2, "volts": 12, "cold_celsius": -40, "hot_celsius": 120},
     {"ohms": 0.3, "amperes": 40.0, "cold_ohms": 0.2293, "hot_ohms": 0.4179},
     "IEC 60028 and NBS Handbook 100, calc"),
    ("winding-current",
     {"ohms": 0.15, "volts": 1.2, "measured_celsius": 25, "winding_celsius": 110},
     {"ohms": 0.1991}, "IEC 60028, calc: 0.00393 holds from 20 C only, so not 0.200"),
    ("winding-current", {"volts": 11.4, "amperes": 38.0}, {"ohms": 0.3, "watts": 433.2},
     "Ohm's law, calc"),
    ("winding-current", {"ohms": 0.46, "amperes": 27.3913}, {"volts": 12.6}, "Ohm's law, calc"),
    ("feed-drop", {"amperes": 40, "mm2": 2.5, "one_way_metres": 5}, {"drop_volts": 1.520},
     "ISO 6722-1, 7.60 mohm/m (from memory), calc"),
    ("feed-drop", {"amperes": 40, "mm2": 2.5, "one_way_metres": 3, "return_metres": 2,
                   "celsius": 80},
     {"drop_volts": 1.878, "drop_percent": 15.65}, "ISO 6722-1 and IEC 60028, calc"),
    ("feed-drop", {"amperes": 10, "awg": 16, "one_way_metres": 11 * FOOT,
                   "return_metres": 10 * FOOT, "limit_percent": 3},
     {"smallest_size": "10 AWG"}, "ABYC E-11, printed example: 3 % asks for 10 AWG"),
    ("feed-drop", {"amperes": 10, "awg": 16, "one_way_metres": 11 * FOOT,
                   "return_metres": 10 * FOOT, "limit_percent": 10},
     {"smallest_size": "16 AWG"}, "ABYC E-11, printed example: 10 % asks for 16 AWG"),
    ("feed-drop", {"amperes": 1, "awg": 18, "cable": "full-awg", "one_way_metres": 304.8 / 2,
                   "return_metres": 304.8 / 2},
     {"wire_ohms": 6.385}, "printed wire table: 18 AWG, 6.385 ohm per 1000 ft at 20 C"),
    ("feed-drop", {"amperes": 1, "awg": 14, "cable": "full-awg", "one_way_metres": 304.8 / 2,
                   "return_metres": 304.8 / 2, "celsius": 75},
     {"wire_ohms": pytest.approx(3.07, rel=3e-3)},
     "NEC chapter 9 table 8: 14 AWG solid, 3.07 ohm per 1000 ft at 75 C"),
    ("fuse-opening", {"fuse_amps": 10, "amperes": 16},
     {"percent": 160.0, "opens": "opens", "earliest_seconds": 0.25, "latest_seconds": 50.0},
     "ISO 8820-3:2015, 160 % of 10 A"),
    ("fuse-opening", {"fuse_amps": 40, "amperes": 140},
     {"percent": 350.0, "earliest_seconds": 0.08, "latest_seconds": 0.5},
     "ISO 8820-3:2015, 350 % of 40 A"),
    ("fuse-opening", {"fuse_amps": 30, "volts": 12.6, "ohms": 0.36},
     {"amperes": 35.0, "percent": 116.667, "opens": "cannot say", "latest_seconds": None},
     "ISO 8820-3:2015, calc"),
    ("fuse-opening", {"fuse_amps": 25, "volts": 12.6, "ohms": 0.36},
     {"percent": 140.0, "opens": "opens", "earliest_seconds": 0.25, "latest_seconds": 600.0},
     "ISO 8820-3:2015, calc"),
    ("fuse-opening", {"fuse_amps": 30, "volts": 25.2, "ohms": 0.36, "seconds": 6},
     {"percent": 233.333, "earliest_seconds": 0.08, "latest_seconds": 5.0,
      "by_then": "has opened"}, "ISO 8820-3:2015, calc"),
    ("fuse-opening", {"fuse_amps": 30, "volts": 12.6, "ohms": 0.46, "seconds": 60},
     {"percent": 91.3043, "opens": "never opens", "by_then": "still whole"},
     "ISO 8820-3:2015, calc"),
    ("pull-on-time", WIRE | {"volts": 12, "thermal_class": "F"},
     {"seconds": 27.32, "class_a_seconds": 15.87, "class_h_seconds": 33.64,
      "joules_per_kelvin": 76.79}, "IEC 60028, IEC 60949, IEC 60085:2007, calc; stepped as well"),
    ("pull-on-time", WIRE | {"volts": 24},
     {"seconds": 3.967, "class_f_seconds": 6.831, "class_h_seconds": 8.410},
     "IEC 60028, IEC 60949, IEC 60085:2007, calc; stepped as well"),
    ("pull-on-time", {"ohms": 0.3, "copper_grams": 197.86, "volts": 12},
     {"seconds": 15.87, "joules_per_kelvin": 76.79}, "IEC 60949 (from memory), calc"),
    ("pull-on-time", {"ohms": 0.3707, "measured_celsius": 80, "joules_per_kelvin": 76.79,
                      "volts": 12},
     {"seconds": 15.87, "start_amperes": 40.0}, "IEC 60028, calc: 0.300 ohm has 0.3707 at 80 C"),
    ("pull-in-margin", {"supply_volts": 8, "pull_ohms": 0.3, "winding_celsius": 80},
     {"winding_ohms": 0.3707, "amperes": 21.58}, "IEC 60028, calc; 8 V: ISO 16750-2, profile I"),
    ("meter-verdict", {"reading": 0.4, "unit": "ohm", "low": 0.255, "high": 0.345,
                       "percent": 0.5, "counts": 2, "resolution": 0.1},
     {"half_width": 0.202, "standard_uncertainty": 0.1166, "verdict": "cannot-say"},
     "JCGM 100:2008 clause 4.3.7, calc"),
    ("meter-verdict", {"reading": 120.0, "unit": "V", "low": 110, "percent": 1, "counts": 3,
                       "resolution": 0.1},
     {"half_width": 1.5, "verdict": "good"}, "meter maker's example: 120.0 V, 1 % + 3"),
    ("meter-verdict", {"reading": 100.0, "unit": "V", "high": 90, "percent": 1, "counts": 2,
                       "resolution": 0.1},
     {"lowest": 98.8, "highest": 101.2, "verdict": "bad"},
     "meter maker's example: 100.0 V, 1 % + 2"),
    ("meter-verdict", {"reading": 500, "unit": "ohm", "low": 400, "percent": 0.05, "counts": 2,
                       "resolution": 0.01},
     {"half_width": 0.27}, "meter maker's example: 500 ohm, 0.05 % + 2"),
    ("meter-verdict", {"reading": -5.47, "unit": "V", "high": -5.40, "percent": 0, "counts": 1,
                       "resolution": 0.05 * 3**0.5},
     {"standard_uncertainty": 0.05, "good_percent": 91.92},
     "JCGM 106:2012 clause 7 (from memory): 0.9192"),
    ("meter-verdict", {"reading": 509.7, "unit": "V", "low": 490, "percent": 0, "counts": 1,
                       "resolution": 8.6 * 3**0.5},
     {"good_percent": 98.90}, "JCGM 106:2012 clause 7 (from memory): 0.9890"),
]  # fmt: skip


@pytest.mark.parametrize("row", PUBLISHED)
def test_published_value(worked: Work, row: Row) -> None:
    """A sum gives the value that the source named beside it gives, to the digits printed."""
    name, given, expected, source = row
    found = worked(name, given)
    for figure, value in expected.items():
        wanted = pytest.approx(value, rel=4e-4) if isinstance(value, float) else value
        assert found[figure] == wanted, source


def test_hot_relay_needs_more_volts(worked: Work) -> None:
    """Volts to pull in grow with the copper: 7.2 V at 23 C are 8.93 V at 85 C (makers' data)."""
    at = [
        worked("pull-in-margin", {"supply_volts": 9, "winding_celsius": celsius})
        for celsius in (23, 85)
    ]
    assert at[1]["least_volts"] / at[0]["least_volts"] == pytest.approx(8.93 / 7.2, rel=1e-3)


def test_typical_winding_needs_half_to_two_thirds(worked: Work) -> None:
    """At rated volts and 20 C the share is the inverse of pull-in's half to two thirds (common
    practice), and 24 V gives the same share."""
    for volts in (12, 24):
        given = {"supply_volts": volts, "system_volts": volts}
        share = worked("pull-in-margin", given)["share_percent"]
        assert 150 <= share <= 200


@pytest.mark.parametrize(
    ("share", "verdict"),
    [(0.8, "it does not pull in"), (0.93, "cannot say"), (1.0, "cannot say"),
     (1.07, "cannot say"), (1.25, "it pulls in")],
)  # fmt: skip
def test_verdict_needs_19_in_20(
    worked: Work, knowledge: Knowledge, share: float, verdict: str
) -> None:
    """The chance is the normal share of the log margin; under 19 in 20 nobody can say."""
    plunger = knowledge.circuits["fuel-shutoff-ignition-timed"].plunger
    volts = share * plunger.pull_in_share * 12
    found = worked("pull-in-margin", {"supply_volts": volts})
    chance = NormalDist(0, plunger.pull_in_log_sigma).cdf(math.log(share))
    assert found["chance"] == pytest.approx(chance, rel=1e-4)
    assert found["verdict"] == verdict


def test_ohms_on_the_way_take_current(worked: Work) -> None:
    """9 V over 0.40 ohm of winding and 0.05 ohm of wire drive 20.0 A (Ohm's law)."""
    given = {"supply_volts": 9, "pull_ohms": 0.4, "path_ohms": 0.05}
    found = worked("pull-in-margin", given)
    assert (found["amperes"], found["winding_ohms"]) == (20.0, 0.4)


def test_leads_are_taken_off_before_the_verdict(worked: Work) -> None:
    """0.52 ohm with leads of 0.20 ohm is 0.32 ohm: good between 0.255 and 0.345, else bad."""
    given = {"reading": 0.52, "unit": "ohm", "low": 0.255, "high": 0.345} | FINE
    assert worked("meter-verdict", given)["verdict"] == "bad"
    found = worked("meter-verdict", given | {"lead_ohms": 0.2})
    assert (found["verdict"], found["value"]) == ("good", 0.32)


FINE = {"percent": 0.1, "counts": 1, "resolution": 0.001}
# pull 0.33 and hold 18.5 ohm by hand on a star; the pins are a ground, b pull, c hold
GOOD = {"ab_ohms": 0.33, "bc_ohms": 18.83, "ca_ohms": 18.5, "pull_ohms": 0.33, "hold_ohms": 18.5}


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, {"ground_pin": "a", "pull_pin": "b", "hold_pin": "c", "closure": "closes",
              "pull_state": "good", "hold_state": "good"}),
        ({"ab_ohms": 0.53, "bc_ohms": 19.03, "ca_ohms": 18.7, "lead_ohms": 0.2},
         {"ground_pin": "a", "closure": "closes", "pull_ohms": pytest.approx(0.33)}),
        ({"ab_ohms": 1.33, "ca_ohms": 19.5},
         {"closure": "left-over", "left_over_ohms": pytest.approx(0.66),
          "shared_ohms": pytest.approx(1.0), "ground_pin": "a"}),
        ({"bc_ohms": "open", "ca_ohms": "open"},
         {"cut_off_pin": "c", "may_be": "hold", "hold_state": "open", "pull_state": "good"}),
        ({"bc_ohms": "open"}, {"closure": "impossible", "pull_pin": None}),
        ({"ab_ohms": "open", "bc_ohms": "open", "ca_ohms": "open"},
         {"closure": "cannot-say", "ground_pin": None}),
        ({"percent": 0.8, "counts": 3, "resolution": 0.1},
         {"closure": "cannot-say", "pull_state": "cannot say with this meter"}),
    ],
)  # fmt: skip
def test_pins_by_resistances_in_series(
    worked: Work, changed: dict[str, Any], expected: dict[str, Any]
) -> None:
    """Pins of a part built by hand from two resistances are named, and what is wrong is told."""
    found = worked("which-pin", GOOD | FINE | changed)
    assert {name: found[name] for name in expected} == expected


def test_a_warm_part_is_expected_to_read_more(worked: Work) -> None:
    """At 80 C a 0.300 ohm winding is expected to have 0.3707 ohm (IEC 60028, calc)."""
    given = GOOD | FINE | {"pull_ohms": 0.3, "winding_celsius": 80}
    found = worked("which-pin", given)
    assert found["pull_expected_ohms"] == pytest.approx(0.3707, rel=2e-4)
