"""The command line: what it prints, where it prints it, and how it exits."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from api.answers import demos
from api.cli import main as cli

ROOT = Path(__file__).parents[2]


def api(*arguments: str, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """Run ``python -m api`` as a user would."""
    command = [sys.executable, "-m", "api", *arguments]
    return subprocess.run(command, input=stdin, capture_output=True, cwd=ROOT, check=False)


def test_every_command_explains_itself(run: Callable[..., Result]) -> None:
    """Each registered command loads and has a help text that says what it does."""
    for name in cli.COMMANDS:
        done = run(name, "--help")
        assert done.exit_code == 0, done.output
        assert "Usage: threewire" in done.output or f" {name} " in done.output


def test_the_list_of_commands_says_what_they_say() -> None:
    """What --help says of each command, without loading it, is what its own help begins with."""
    own = {name: cli.Lazy(name).load().get_short_help_str(limit=200) for name in cli.COMMANDS}
    assert own == {name: about for name, (_, about) in cli.COMMANDS.items()}


def test_help_and_version_load_none_of_the_rest() -> None:
    """Neither needs the engine, NumPy, Flask or SQLAlchemy: that is what makes them quick."""
    heavy = {"engine", "numpy", "flask", "sqlalchemy", "yaml", "experta"}
    for option in ("--help", "--version"):
        program = (
            "import sys; from api.cli.main import threewire; "
            f"threewire(['{option}'], standalone_mode=False); print(*sys.modules, file=sys.stderr)"
        )
        done = subprocess.run(
            [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
        )
        assert heavy.isdisjoint(done.stderr.split())
    assert done.stdout.startswith("threewire ")


def test_version_names_program_and_knowledge(run: Callable[..., Result]) -> None:
    """The version of the knowledge is told beside that of the program."""
    lines = run("version").stdout.splitlines()
    assert lines[0].startswith("threewire ")
    assert lines[1].startswith("knowledge 20")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), ""),
        (("diagnos", "x"), "Did you mean 'diagnose'?"),
        (("diagnose",), "FILE|-"),
        (("diagnose", "-", "--json", "--ndjson"), "choose one"),
        (("diagnose", "-", "--jsn"), "--json"),
        (("demo", "loader-ground-pain"), "did you mean 'loader-ground-paint'?"),
        (("serve", "--port", "70000"), "70000"),
        (("serve", "--workers", "0"), "0"),
    ],
)
def test_bad_usage_exits_with_2(
    run: Callable[..., Result], arguments: tuple[str, ...], says: str
) -> None:
    """A wrong command or option is bad usage: status 2, on standard error, naming the nearest."""
    done = run(*arguments)
    assert done.exit_code == 2
    assert says in done.stderr
    assert done.stdout == ""


BAD_FILES = [
    (
        "bad.json",
        b'{"machine": {},\n "machine": {}}',
        "bad.json: the key 'machine' stands twice",
    ),
    ("bad.json", b'{"machine": NaN}', "bad.json: NaN is not a JSON number"),
    ("bad.json", b"\xff", "bad.json: the text is not UTF-8"),
    ("bad.yaml", b"machine: {}\nmachine: {}\n", "bad.yaml:2:1: key 'machine' stands twice"),
    ("bad.yaml", b"machine: [\n", "bad.yaml:2:1: "),
    ("bad.yaml", b"\xff", "bad.yaml: the text is not UTF-8"),
    ("bad.yaml", b"a: !!python/object:os.system {}\n", "bad.yaml:1:4: "),
    ("bad.yaml", b'a: "\\ud800"\n', "bad.yaml"),
    ("bad.yaml", b"", "bad.yaml"),
    ("bad.json", b"[1]", "bad.json"),
    ("bad.json", b" " * (2 << 20), "larger than 1 MiB"),
    (
        "bad.yaml",
        b"machine:\n  duty: brake-releas\n  control: ignition-timed\n  coil: unknown\n"
        b"findings:\n  - {check: relay-click, outcome: heard}\n  - check: relay-clik\n"
        b"    outcome: heard\n",
        "bad.yaml:7: findings[1].check: unknown check 'relay-clik'",
    ),
    (
        "bad.json",
        b'{"machine": {"duty": "brake-releas",\n "control": "ignition-timed",\n "coil": "unknown"},'
        b'\n "findings": []}',
        "bad.json:1: machine.duty: ",
    ),
]


@pytest.mark.parametrize(("name", "content", "says"), BAD_FILES)
def test_bad_input_exits_with_1(
    run: Callable[..., Result], tmp_path: Path, name: str, content: bytes, says: str
) -> None:
    """A bad file is told on standard error with its name, line and path: status 1, no traceback."""
    file = tmp_path / name
    file.write_bytes(content)
    done = run("diagnose", file)
    assert done.exit_code == 1, done.output
    assert says in done.stderr
    assert name in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("flags", [(), ("--json",), ("--ndjson",)])
def test_file_that_is_not_there(
    run: Callable[..., Result], tmp_path: Path, flags: tuple[str, ...]
) -> None:
    """A file that cannot be read is bad input, named on standard error."""
    for file in (tmp_path / "nowhere.json", tmp_path):
        done = run("diagnose", *flags, file)
        assert done.exit_code == 1
        assert file.name in done.stderr
        assert isinstance(done.exception, SystemExit)


def test_overlay_with_a_fault_exits_with_1(run: Callable[..., Result], tmp_path: Path) -> None:
    """A shop's own knowledge with a fault is refused with file and field, not used in part."""
    causes = tmp_path / "causes"
    causes.mkdir()
    (causes / "own-cause.yaml").write_text("id: own-cause\nname: Own\n")
    for command in (("diagnose", "-"), ("demo",), ("version",), ("serve", "--port", "0")):
        done = run(*command, "--kb", tmp_path, stdin="{}")
        assert done.exit_code == 1, done.output
        assert "own-cause.yaml" in done.stderr
        assert "section" in done.stderr


def test_overlay_that_is_not_there(run: Callable[..., Result], tmp_path: Path) -> None:
    """A folder of own knowledge that does not exist is bad input, named; not silently left out."""
    done = run("version", "--kb", tmp_path / "nowhere")
    assert done.exit_code == 1
    assert "nowhere" in done.stderr


def test_a_fault_of_ours_is_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A fault in threewire itself ends with status 70 and a sentence."""
    monkeypatch.setitem(cli.COMMANDS, "version", ("nowhere:nothing", ""))
    with pytest.raises(SystemExit) as caught:
        cli.main(["version"])
    assert caught.value.code == 70
    assert "a fault in threewire itself" in capsys.readouterr().err


@pytest.mark.live  # starts a process
def test_python_m_api_is_the_command_line() -> None:
    """``python -m api`` does what ``threewire`` does, in a process of its own."""
    done = api("demo", "--request")
    assert json.loads(done.stdout) == demos.load_all()[0].request
    assert api("nonesuch").returncode == 2


def test_closed_pipe_is_no_traceback() -> None:
    """A reader that stops early, such as head, gets no traceback after it."""
    process = subprocess.Popen(
        [sys.executable, "-m", "api", "demo"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    with process:
        process.stdout.close()
        assert b"Traceback" not in process.stderr.read()


def test_plain_output_holds_no_escape_codes(run: Callable[..., Result]) -> None:
    """Away from a terminal the report is plain text: no colour, no boxes, no line over 100."""
    out = run("demo").stdout
    assert "\x1b" not in out
    assert "│" not in out
    assert max(map(len, out.splitlines())) <= 100
