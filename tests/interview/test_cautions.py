"""No step is shown without its cautions, and they come before it."""

from collections.abc import Callable

import pytest

from api.interview import Interview, InterviewState, Turn
from api.interview.state import inquiry_of

Hold = Callable[..., Turn]
MACHINES = {
    "fuel, on crank": ("1", "", "1", "2", "2", "1", "1", "7", "2"),
    "fuel, timed, 24 V, in block": ("2", "", "1", "1", "1", "2", "2", "7", "2"),
    "fuel, nothing known": ("0", "", "1", "0", "0", "0", "0", "0", "2"),
    "brake, on request, two": ("1", "", "2", "2", "1", "1", "2", "1", "7", "1"),
    "brake, timed, one": ("2", "", "2", "1", "2", "1", "1", "7", "1"),
}


@pytest.mark.parametrize("machine", MACHINES)
def test_every_check_of_every_machine_has_its_caution_first(
    talk: Interview, hold: Hold, dangers: Callable[[str, str], list[tuple[str, ...]]], machine: str
) -> None:
    """Each check's cautions stand in a block of their own before the step, whoever reads it.

    The sentences are read from the files of checks and cautions, past the engine.
    """
    turn = hold(start=MACHINES[machine])
    case = inquiry_of(turn.state.entries)
    for audience in ("caller", "technician"):
        there = talk.step(turn.state, f"as {audience}").state
        for check in talk.desk.checks(case):
            blocks = talk.step(there, f"add {check}").blocks
            kinds = [block.kind for block in blocks]
            assert kinds[-1] == "question"
            before = " ".join(
                line.text
                for block in blocks[: kinds.index("question")] if block.kind == "caution"
                for line in block.lines
            )  # fmt: skip
            for sentences in dangers(check, str(case.fields["duty"])):
                assert any(one in before for one in sentences), (check, sentences)


def test_a_caution_is_whole_the_first_time(talk: Interview, hold: Hold) -> None:
    """A caution is told in full, then by its first sentence, and in full again by 'cautions'."""
    turn = hold("2")
    wanted = talk.desk.step(inquiry_of(turn.state.entries), "pull-current")["cautions"]
    assert len(wanted) > 3
    shown: set[str] = set()
    turn = talk.open(InterviewState())
    for line in ("1", "", "1", "2", "2", "1", "1", "7", "2", "add pull-current"):
        turn = talk.step(turn.state, line)
        shown |= {line.text for block in turn.blocks if block.kind == "caution"
                  for line in block.lines}  # fmt: skip
    assert set(wanted) <= shown
    again = talk.step(turn.state, "again").blocks[0]
    assert again.kind == "caution"
    text = " ".join(line.text for line in again.lines)
    assert all(one.split(". ")[0] in text for one in wanted)
    full = [line.text for block in talk.step(turn.state, "cautions").blocks for line in block.lines]
    assert set(wanted) <= set(full)


def test_repair_has_its_cautions_first(talk: Interview, hold: Hold) -> None:
    """The repair of every cause is shown behind the cautions that the engine gives it."""
    turn = hold("2")
    answer = talk.desk.answer(inquiry_of(turn.state.entries))
    for cause in [one["id"] for one in answer["causes"]]:
        there = talk.step(turn.state, f"repair {cause}")
        while not any(block.title.startswith("Repair: ") for block in there.blocks):
            there = talk.step(there.state, "skip")
        entry = next(one for one in talk.desk.answer(inquiry_of(there.state.entries))["causes"]
                     if one["id"] == cause)  # fmt: skip
        place = [block.title.startswith("Repair: ") for block in there.blocks].index(True)
        before = " ".join(line.text for block in there.blocks[:place]
                          if block.kind == "caution" for line in block.lines)  # fmt: skip
        assert all(one.split(". ")[0] in before for one in entry["cautions"]), cause


def test_raised_caution_comes_before_all_else(hold: Hold) -> None:
    """A smoking coil: what to do about it is the first thing on the screen (TRADE, cautions)."""
    turn = hold("2", "add coil-temperature smoking")
    first = turn.blocks[0]
    assert first.kind == "caution"
    assert "The solenoid smokes" in " ".join(line.text for line in first.lines)


def test_a_caution_not_shown_is_not_taken_as_told(hold: Hold) -> None:
    """A reading given at once shows no step; the cautions of such a step are still told in full."""
    turn = hold("2", "add ground-path-ohms open", "add ground-path-ohms")
    told = " ".join(line.text for block in turn.blocks if block.kind == "caution"
                    for line in block.lines)  # fmt: skip
    assert "Prove the pins dead with volts first." in told
