"""Whatever is typed: no traceback, nothing lost, and the answers always make a case."""

from collections.abc import Callable

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.cases import edits
from api.cases.book import utc_now
from api.cases.diagnosis import Sent, diagnose_case
from api.interview import Interview, Turn
from api.interview.commands import COMMANDS
from api.interview.contents import contents_of, entries_of
from api.interview.turn import as_text

STARTS = (
    (),
    ("1", "4012", "1", "2", "2", "1", "1", "7", "2"),
    ("2", "19", "2", "2", "1", "2", "2", "1", "7", "1"),
    ("2", "19", "1", "0", "0", "0", "0", "0", "2"),
)
WORDS = st.sampled_from([
    *COMMANDS, "add relay", "add pull-winding-ohms 0.3 ohm", "add pull-pin-voltage 11 V, plug on",
    "change 3", "change 9 0", "change 4 1", "repair 1", "side right", "what if 1", "what if 9 V",
    "hands ask", "as t", "open", "3 V", "0.2 ohm", "5 mA", "z", "n", "-1 s", "1e400 V", "nan V",
    "1e-400 A", "9" * 400 + " V", "x" * 5000,
    "0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "d", "",
])  # fmt: skip
JUNK = st.one_of(WORDS, st.text(max_size=30), st.binary(max_size=12).map(
    lambda raw: raw.decode("utf-8", "surrogateescape")
))  # fmt: skip


@settings(suppress_health_check=list(HealthCheck))
@given(start=st.sampled_from(STARTS), lines=st.lists(JUNK, max_size=8))
def test_junk_is_answered_in_words(
    talk: Interview, hold: Callable[..., Turn], start: tuple[str, ...], lines: list[str]
) -> None:
    """Any lines give words, or an end or a file, and answers that the book takes and gives back."""
    turn = hold(start=start)
    for line in lines:
        turn = talk.step(turn.state, line)
        assert turn.blocks or turn.quit or turn.save is not None
        assert all(sign.isprintable() for sign in as_text(turn.blocks, 40).replace("\n", ""))
        talk.summary(turn.state)
    contents = contents_of(turn.state.entries)
    if contents is not None:
        found = [one.body for one in contents.findings]
        told = {"machine": contents.machine, **contents.settings, "findings": found, "done": None}
        case = edits.opened(told, "48291372", "terminal", utc_now()).case
        diagnosis = diagnose_case(talk.desk, case, Sent(first=1, head=True)).diagnosis
        assert diagnosis is not None
        assert diagnosis.left_out == ()
        again = contents_of(entries_of(case))
        assert again is not None
        assert [one.body for one in again.findings] == found
        assert again.machine == contents.machine


@settings(max_examples=20, suppress_health_check=list(HealthCheck))
@given(lines=st.lists(JUNK, max_size=6))
def test_back_always_leads_back(
    talk: Interview, hold: Callable[..., Turn], lines: list[str]
) -> None:
    """After any lines, going back often enough leads to the empty interview."""
    turn = hold(start=())
    for line in lines:
        turn = talk.step(turn.state, line)
    for _ in range(3 * len(lines) + 3):
        turn = talk.step(turn.state, "back")
    assert turn.state.entries == ()
