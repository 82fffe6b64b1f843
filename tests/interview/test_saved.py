"""Interviews in files: what is written comes back, and what is wrong in one is located."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.cli.ask_journal import Journal, free_name, write
from api.interview import Interview, Turn, saved

Hold = Callable[..., Turn]


def document(talk: Interview, turn: Turn) -> dict[str, Any]:
    """Return the data of the file that a turn's state would be saved in."""
    found: dict[str, Any] = json.loads(saved.dump(turn.state, talk.desk.knowledge.version))
    return found


def test_round_trip(talk: Interview, hold: Hold) -> None:
    """Every kind of answer comes back as it was, and the same question is asked."""
    turn = hold("2", "add pull-current 0.1 A, note odd \u03a9", "skip", "add pull-ohms 0.33", "d",
                "repair relay-coil-open", "2", "repair ground-open")  # fmt: skip
    state, version = saved.load(document(talk, turn), talk.desk)
    assert state.entries == turn.state.entries
    assert version == talk.desk.knowledge.version
    assert talk.prompt(state) == talk.prompt(turn.state)


def test_resuming_goes_on_where_it_stopped(talk: Interview, hold: Hold) -> None:
    """An interview that was stopped for the work order goes on when it is resumed."""
    turn = hold("2", "repair relay-contacts-open", "3")
    state, _ = saved.load(document(talk, turn), talk.desk)
    assert state.entries[-1].kind == "agree"


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda d: d.update(threewire_interview=2), "threewire_interview: this threewire reads"),
        (lambda d: d.pop("knowledge_version"), "knowledge_version: is missing"),
        (lambda d: d.update(colour="red"), "colour: is not a field here"),
        (lambda d: d["answers"][0].update(kind="machin"), "answers[0].kind: unknown kind 'machin' "
         "(did you mean 'machine'?)"),
        (lambda d: d["answers"][3].update(key="controls"), "answers[3].key: unknown question"),
        (lambda d: d["answers"][3].update(value="crank"), "answers[3].value: unknown"),
        (lambda d: d["answers"][3].update(value="controller-on-request"),
         "answers[3].value: a fuel-shutoff has"),
        (lambda d: d["answers"][7].update(value=["torch"]), "answers[7].value: must be a list"),
        (lambda d: d["answers"][8]["value"].update(outcome="explodes"),
         "answers[8].value.outcome: unknown outcome"),
        (lambda d: d["answers"][9].update(value=3), "answers[9].value: a finding is an object"),
        (lambda d: d["answers"][9]["value"].update(unit="V"), "answers[9].value.unit: 'V' does"),
        (lambda d: d["answers"][9]["value"].update(check="hold-current"),
         "answers[9].value.check: must be 'pull-current'"),
        (lambda d: d["answers"][9]["value"].update(side="left"), "answers[9].value.side: only"),
        (lambda d: d["answers"][10].update(key="relay-clack"), "answers[10].key: unknown check"),
        (lambda d: d["answers"].pop(2), "answers: the answer 'duty' is missing"),
        (lambda d: d["answers"].append({"kind": "agree", "key": "gremlin"}),
         "answers[11].key: unknown cause"),
        (lambda d: d.update(answers="none"), "answers: "),
    ],
)  # fmt: skip
def test_faults_are_located(
    talk: Interview, hold: Hold, spoil: Callable[[dict[str, Any]], object], fault: str
) -> None:
    """Each way of spoiling a file is reported with its place in it."""
    found = document(talk, hold("2", "add pull-current 0.1 A", "skip"))
    spoil(found)
    with pytest.raises(saved.SavedError) as error:
        saved.load(found, talk.desk)
    assert any(str(one).startswith(fault) for one in error.value.faults), str(error.value)


def test_not_an_interview(talk: Interview) -> None:
    """A list, a number or an empty object is refused with words."""
    for one in ([], 3, None, {}):
        with pytest.raises(saved.SavedError):
            saved.load(one, talk.desk)


def test_write_is_whole_or_not_at_all(tmp_path: Path) -> None:
    """A file that cannot be written leaves the old one, and no scraps."""
    file = tmp_path / "order.json"
    write(file, "first")
    with pytest.raises(UnicodeEncodeError):
        write(file, "\ud800")
    assert file.read_text(encoding="utf-8") == "first"
    assert [one.name for one in tmp_path.iterdir()] == ["order.json"]


def test_names_are_free(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file name comes from the machine and never from an existing file."""
    monkeypatch.chdir(tmp_path)
    assert str(free_name("4012 compact track loader")) == "threewire-4012-compact-track-loader.json"
    Path("threewire-interview.json").touch()
    assert str(free_name("///")) == "threewire-interview-2.json"


def test_journal_finds_another_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the state folder cannot be made, the running copy goes to the working folder."""
    blocked = tmp_path / "blocked"
    blocked.write_text("a file, not a folder", encoding="utf-8")
    monkeypatch.setenv("XDG_STATE_HOME", str(blocked))
    monkeypatch.chdir(tmp_path)
    journal = Journal()
    journal.keep("{}")
    assert journal.path is not None
    assert journal.path.parent == tmp_path
    journal.drop()
    assert [one.name for one in tmp_path.iterdir()] == ["blocked"]
