"""The commands that can be typed at any prompt."""

from collections.abc import Callable

import pytest

from api.interview import Interview, InterviewState, Turn
from api.interview.actions import ACTS
from api.interview.commands import COMMANDS
from api.interview.next_step import target_of
from api.interview.state import inquiry_of
from tests.sweeps import swept

Hold = Callable[..., Turn]
Said = Callable[[Turn], str]
PROMPTS = [None, (), ("2",), ("2", "add pull-current"), ("2", "add pull-current 0.1 A"),
           ("2", "repair"), ("2", "add relay")]  # fmt: skip
"""What leads to each kind of prompt."""


def test_every_command_works_and_is_in_help(hold: Hold, said: Said) -> None:
    """Help names each command, and each has something that does it."""
    shown = said(hold("help"))
    assert set(ACTS) == set(COMMANDS)
    assert all(f"{name}" in shown for name in COMMANDS)
    assert said(hold("?")) == shown


@pytest.mark.parametrize("lines", swept(PROMPTS, 2))
def test_every_command_at_every_prompt(
    talk: Interview, hold: Hold, lines: tuple[str, ...] | None
) -> None:
    """Each command, bare, says something at each kind of prompt, the very first included."""
    turn = hold(start=()) if lines is None else hold(*lines)
    for name in COMMANDS:
        after = talk.step(turn.state, name)
        assert after.blocks or after.quit or after.save is not None, name


def test_back_undoes_answers_and_changes(hold: Hold, said: Said) -> None:
    """Back leads through every state that was, changed answers included, to the very first."""
    states = [hold(start=())]
    for line in ("1", "4012", "1", "2", "2", "1", "1", "7", "2",
                 "add pull-current 0.1 A", "change 9 3", "skip"):  # fmt: skip
        states.append(hold(line, after=states[-1]))
    turn = states[-1]
    for before in reversed(states[:-1]):
        turn = hold("back", after=turn)
        assert turn.state.entries == before.state.entries
    turn = hold("back", after=turn)
    assert turn.bad
    assert "nothing to take back" in said(turn)


def test_back_out_of_a_question_out_of_turn(talk: Interview, hold: Hold, said: Said) -> None:
    """Back at an added question leaves everything as it was."""
    before = hold("2")
    turn = hold("add hold-current", "back", after=before)
    assert "Left as it was." in said(turn)
    assert turn.state.entries == before.state.entries
    assert target_of(turn.state, talk.desk) == target_of(before.state, talk.desk)


def test_change_asks_again_and_takes_at_once(talk: Interview, hold: Hold, said: Said) -> None:
    """``change N`` shows the question with the old answer; with an answer behind it, it is done."""
    turn = hold("2", "add pull-current 0.1 A", "change 10")
    assert "Answer 10 says: 0.1 A. Now?" in said(turn)
    values = [
        one.body.get("value")
        for one in inquiry_of(hold("2 A", after=turn).state.entries).case.findings
    ]
    assert values == [None, 2.0]
    turn = hold("2", "add pull-current 0.1 A", "change 10 3 A")
    assert inquiry_of(turn.state.entries).case.findings[-1].body["value"] == 3.0
    for wrong in ("change", "change 99", "change x", "change 0"):
        assert hold(wrong, after=turn).bad


def test_changing_the_machine_drops_what_no_longer_fits(hold: Hold, said: Said) -> None:
    """Findings that the changed machine cannot have are left out, by name, and back brings them."""
    turn = hold("2", "add crank-signal-voltage 11 V", "change 4 1")
    assert "No longer fits, and was left out" in said(turn)
    assert "Crank signal at the controller" in said(turn)
    checks = [one.check for one in inquiry_of(turn.state.entries).case.findings]
    assert checks == ["engine-response"]
    back = hold("back", after=turn)
    assert len(inquiry_of(back.state.entries).case.findings) == 2


def test_add_finds_near_ids(talk: Interview, hold: Hold, said: Said) -> None:
    """A beginning, a part or a misspelling leads to the check; several are offered to pick from."""
    turn = hold("2")
    for typed in ("add ground-side-voltage", "add ground-side", "add Ground side voltage",
                  "add ground-side-voltagge"):  # fmt: skip
        found = target_of(hold(typed, after=turn).state, talk.desk)
        assert (found.kind, found.key) == ("check", "ground-side-voltage"), typed
    several = hold("add hold-pin", after=turn)
    assert target_of(several.state, talk.desk).kind == "pick"
    picked = target_of(hold("hold-pin-voltage-key-off", after=several).state, talk.desk)
    assert picked.key == "hold-pin-voltage-key-off"
    none = hold("add xyzzy", after=turn)
    assert none.bad
    assert "unknown check 'xyzzy'" in said(none)
    assert hold("add brake-display", after=turn).state == turn.state, "the engine has no brake"
    assert "pull-pin-voltage" in said(hold("add", after=turn))
    assert "fuse-amps" in said(hold("add", after=turn))


def test_add_a_value_of_the_machine(hold: Hold, said: Said) -> None:
    """The good ohms of the part can be added; a value out of reason is refused by the engine."""
    turn = hold("2", "add pull-ohms 0.33")
    assert inquiry_of(turn.state.entries).case.machine["pull_ohms"] == 0.33
    turn = hold("2", "add pull-ohms 400")
    assert turn.bad
    assert "must be from 0.02 to 20 ohm" in said(turn)


def test_completion_knows_commands_checks_and_answers(talk: Interview, hold: Hold) -> None:
    """The words that a terminal completes are the commands, the machine's checks, the answers."""
    words = talk.words(hold("2").state)
    assert {"ground-side-voltage", "hands", "pull-ohms"} <= {*words}
    assert "brake-response" not in words
    assert "hands" in talk.words(InterviewState()), "before anything is known there are commands"


def test_why_shows_what_causes_would_give(hold: Hold, said: Said) -> None:
    """Why tells the reason and the reading of each leading cause and of a healthy circuit."""
    shown = said(hold("2", "add pull-current", "why"))
    assert "A pull current in its band proves" in shown
    assert "Pull winding open: " in shown
    assert "Nothing wrong in this circuit: " in shown
    assert " A" in shown


def test_what_if_notes_nothing(talk: Interview, hold: Hold, said: Said) -> None:
    """What if shows the beliefs that the answer would lead to, and leaves the state untouched."""
    turn = hold("2", "add pull-current")
    supposed = hold("what if 0.1 A", after=turn)
    assert supposed.state == turn.state
    assert "Nothing was noted." in said(supposed)
    real = hold("0.1 A", after=turn)
    rows = [line for line in said(supposed).split("\n") if " in 100" in line]
    assert rows
    assert all(row in said(real) for row in rows)
    assert hold("what if lots", after=turn).bad
    assert "2" in said(hold("what if", start=("1", "", "1", "2", "2", "1", "1", "1")))


def test_list_and_causes(hold: Hold, said: Said) -> None:
    """List numbers every answer; causes ranks all with the findings for and against."""
    turn = hold("2", "add pull-current 0.1 A")
    assert "10. Pull current: 0.1 A" in said(hold("list", after=turn))
    shown = said(hold("causes", after=turn))
    assert "1. Pull winding open" in shown
    assert "+ Pull current: 0.1 A" in shown
    assert "- Pull current: 0.1 A" in shown


def test_skip_leaves_a_check_out_for_good(talk: Interview, hold: Hold) -> None:
    """A skipped check is answered by nothing but that it is not known, and not proposed again."""
    turn = hold("2")
    seen: list[str] = []
    for _ in range(6):
        target = target_of(turn.state, talk.desk)
        if target.kind != "check":
            break
        assert target.key not in seen
        seen.append(target.key)
        turn = hold("skip", after=turn)
    assert len(seen) > 1
    found = inquiry_of(turn.state.entries).case.findings
    assert [one.body.get("outcome") for one in found[1:]] == ["not-known"] * len(seen)


def test_hands_limit_what_is_proposed(talk: Interview, hold: Hold) -> None:
    """Only kinds at hand are proposed, and the kit can change in the middle of the call."""
    turn = hold("2", "hands look, try")
    key = target_of(turn.state, talk.desk).key
    assert talk.desk.knowledge.checks[key].kind in ("look", "try")
    turn = hold("hands clamp", after=turn)
    assert talk.desk.knowledge.checks[target_of(turn.state, talk.desk).key].kind == "clamp"
    assert inquiry_of(hold("hands all", after=turn).state.entries).fields["hands"] is None
    wrong = hold("hands lampp", after=turn)
    assert wrong.bad
    assert "did you mean 'lamp'?" in wrong.blocks[0].lines[0].text


def test_as_changes_the_wording(hold: Hold, said: Said) -> None:
    """A caller's sentence is read out; the technician's words say how."""
    turn = hold("2", "add pull-current")
    assert 'Read out: "Put a DC clamp' in said(turn)
    technician = hold("as technician", after=turn)
    assert "Zero a clamp made for direct current" in said(technician)
    assert "Read out" not in said(technician)
    assert "Zero a clamp" in said(hold("how", after=turn))
    assert hold("as boss", after=turn).bad


def test_as_keeps_the_check_that_was_added(talk: Interview, hold: Hold, said: Said) -> None:
    """An added check is still asked in the other words, and its cautions stand before it."""
    for check in ("pull-current", "ground-path-ohms"):
        turn = hold("2", "as caller", f"add {check}", "as technician")
        assert target_of(turn.state, talk.desk).key == check
        told = {line.text for block in turn.blocks if block.kind == "caution"
                for line in block.lines}  # fmt: skip
        assert told


def test_side_needs_two(hold: Hold) -> None:
    """Side is refused on a machine with one solenoid."""
    assert hold("2", "side right").bad


def test_label_may_begin_like_a_command(hold: Hold) -> None:
    """A machine may be called 'back hoe 7': commands that take nothing do not swallow it."""
    turn = hold("1", "back hoe 7", start=())
    assert inquiry_of(turn.state.entries).fields["label"] == "back hoe 7"


def test_quit_ends_at_any_prompt(hold: Hold) -> None:
    """Every answer is kept already, so nothing is asked before the end."""
    for turn in (hold("quit", start=()), hold("2", "quit"), hold("2", "add relay", "quit")):
        assert turn.quit
    assert hold("2", "save order.txt").save == "order.txt"
