"""Ranking and safety of an answer."""

import copy

from engine import Diagnoser
from tests.proving import safety
from tests.proving.kits import rank, stands_alone
from tests.proving.score import Scored, not_listed, summary
from tests.proving.simulator import draw_one

CAUSES = [{"id": "a", "group": 1}, {"id": "b", "group": 1}, {"id": "c", "group": 2}]


def test_rank_counts_from_one() -> None:
    """The true cause's place counts from 1, and is 0 when the answer leaves it out."""
    assert [rank(CAUSES, name) for name in ("a", "c", "z")] == [1, 3, 0]


def test_a_lead_in_a_group_does_not_stand_alone() -> None:
    """A lead that shares its group with another is not told apart."""
    assert not stands_alone(CAUSES)
    assert stands_alone([{"id": "a", "group": 1}, {"id": "c", "group": 2}])


def test_a_missing_caution_is_found(diagnoser: Diagnoser) -> None:
    """An answer is safe as shipped, and unsafe once the cautions of a step are taken away."""
    machine = draw_one(1, 3)
    found = [machine.ask(machine.complaint)]
    answer = diagnoser.diagnose({"machine": machine.told, "findings": found, "limit": 0})
    assert safety.faults(answer, machine.told, found) == []
    bare = copy.deepcopy(answer)
    bare["next_checks"][0]["cautions"] = []
    bare["causes"][0]["cautions"] = []
    assert safety.faults(bare, machine.told, found)


def test_a_larger_fuse_is_found(diagnoser: Diagnoser) -> None:
    """A remedy that suggests a larger fuse makes the answer unsafe."""
    machine = draw_one(1, 3)
    found = [machine.ask(machine.complaint)]
    answer = diagnoser.diagnose({"machine": machine.told, "findings": found, "limit": 0})
    answer["causes"][0]["remedy"] += " Fit a larger fuse."
    assert any("larger fuse" in fault for fault in safety.faults(answer, machine.told, found))


def scored(truth: tuple[str, ...], said: dict[str, float]) -> Scored:
    """Return a scored answer that says these chances, best first, of a machine with this truth."""
    names = list(said)
    group = "not-listed" if truth == ("not-listed",) else "pair" if len(truth) > 1 else "single"
    places = tuple(names.index(one) + 1 if one in names else 0 for one in truth)
    unknown = names.index("not-listed") + 1 if "not-listed" in names else 0
    return Scored(
        "all", truth, group, False, False, "fuel-shutoff", "ignition-timed", "case-ground", True,
        names[0], said[names[0]], places, True, (unknown, said.get("not-listed", 0.0)),
        0.0, 0.0, (0.0, 0.0), (0.0, 0.0), (),
    )  # fmt: skip


def test_of_two_faults_either_may_lead() -> None:
    """A pair counts as first when one of it leads, and as confidently wrong only when none does."""
    said = {"a": 0.7, "b": 0.2, "c": 0.1}
    assert scored(("b", "a"), said).first
    assert not scored(("b", "c"), said).first
    assert scored(("b", "c"), said).surely_wrong
    assert not scored(("b", "c"), said | {"a": 0.6}).surely_wrong


def test_surely_wrong_is_foretold_by_the_chances_over_point_six() -> None:
    """A leader at .7 is foretold to be wrong in .3 of such answers, one at .5 is not sure."""
    rows = [scored(("a",), {"a": 0.7, "b": 0.3}), scored(("a",), {"b": 0.9, "a": 0.1}),
            scored(("a",), {"b": 0.5, "a": 0.5}), scored(("a",), {"a": 1.0})]  # fmt: skip
    found = summary(rows)
    assert found["surely_wrong"]["share"] == 0.25
    assert found["surely_wrong_foretold"] == 0.1


def test_not_listed_is_counted_where_true_and_where_false() -> None:
    """Where it is true its place counts, where it is not a chance above one half."""
    rows = [
        scored(("not-listed",), {"not-listed": 0.6, "a": 0.4}),
        scored(("not-listed",), {"a": 0.6, "not-listed": 0.4}),
        scored(("not-listed",), {"a": 1.0}),
        scored(("a",), {"not-listed": 0.51, "a": 0.49}),
        scored(("a",), {"a": 0.5, "not-listed": 0.5}),
    ]
    found = {name: one["share"] for name, one in not_listed(rows).items()}
    assert found == {"true_first": 0.3333, "true_first_two": 0.6667, "false_believed": 0.5}
