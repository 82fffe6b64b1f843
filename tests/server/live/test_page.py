"""api/docs/running.md: what it shows is run, what it lists is what there is."""

import json
import re
import shutil
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
import requests

from api.cli.serve import shown
from api.settings import SETTINGS
from tests.databases import Server, binaries
from tests.server.live.conftest import MACHINE, QUESTION, Command, Starter, bearer
from tests.serving import ROOT, Running

PAGE = (ROOT / "api" / "docs" / "running.md").read_text(encoding="utf-8")
MakeKey = Callable[[str, str], str]


def block(language: str, word: str = "") -> str:
    """Return the one fenced block of a language that has ``word`` in it."""
    blocks = re.findall(rf"^```{language}\n(.*?)^```", PAGE, re.DOTALL | re.MULTILINE)
    (found,) = [one for one in blocks if word in one]
    return str(found)


def test_the_table_of_settings_is_the_one_in_force() -> None:
    """Names, defaults and words of the table are those of api.settings, in its order."""
    table = PAGE.partition("| setting |")[2].partition("\n\n")[0].splitlines()[2:]
    assert table == [
        f"| `{name}` | {_default(name)} | {setting.about} |" for name, setting in SETTINGS.items()
    ]


def _default(name: str) -> str:
    text = shown(name, SETTINGS[name].default)
    return text if name == "database" else f"`{text}`"


def test_the_numbers_on_the_page_are_those_that_are_given(start: Starter, file_store: str) -> None:
    """Each name of the table is in /metrics, and each name in /metrics is in the table."""
    server = start(file_store)
    server.ask("POST", "/v1/diagnoses", QUESTION)
    server.ask("GET", "/v1/causes", Authorization="Bearer wrong")
    given = set(re.findall(r"^# TYPE (\S+)", server.ask("GET", "/metrics").text, re.MULTILINE))
    table = PAGE.partition("| name | what |")[2].partition("\n\n")[0]
    named = set(re.findall(r"^\| `(\w+)`", table, re.MULTILINE))
    assert named == given


def test_the_events_on_the_page_are_those_that_are_logged() -> None:
    """Each word that the service's code logs as an event is in the table, and no other is."""
    folders = ("api", "api/access", "api/answers", "api/desk", "api/server", "api/web")
    files = [file for folder in folders for file in (ROOT / folder).glob("*.py")]
    code = "".join(file.read_text(encoding="utf-8") for file in files)
    logged = set(re.findall(r'(?:event=|"event": )"([a-z-]+)"', code))
    table = PAGE.partition("| event | what happened |")[2].partition("\n\n")[0]
    assert set(re.findall(r"^\| `([\w-]+)`", table, re.MULTILINE)) == logged


def test_the_commands_and_the_settings_file_work(threewire: Command, tmp_path: Path) -> None:
    """The commands on keys and store do what the page says, with the settings file it shows."""
    file = tmp_path / "threewire.toml"
    settings = block("toml").replace("/var/lib/threewire", str(tmp_path / "store"))
    file.write_text(settings, encoding="utf-8")
    environment = {"THREEWIRE_CONFIG": str(file)}
    commands = [*block("sh", "db upgrade").splitlines(), *block("sh", "keys make").splitlines()]
    assert len(commands) == 4
    for command in commands:
        words = [word.strip('"') for word in re.findall(r'"[^"]*"|\S+', command)]
        assert words[0] == "threewire"
        done = threewire(*words[1:], environment=environment)
        assert done.returncode == 0, (command, done.stderr)
    assert "the office" in done.stdout


@pytest.mark.parametrize("tool", ["sh", "python"])
def test_a_copy_made_while_it_runs_is_whole(
    start: Starter, file_store: str, tmp_path: Path, tool: str
) -> None:
    """Each acknowledged case is in the copy, which passes SQLite's own check and serves again."""
    if tool == "sh" and shutil.which("sqlite3") is None:
        pytest.skip("the sqlite3 command is not installed")
    server = start(file_store)
    numbers = [
        server.ask("POST", "/v1/cases", {"machine": MACHINE}).json()["number"] for _ in range(5)
    ]
    copy = tmp_path / "copy" / "cases.sqlite3"
    copy.parent.mkdir()
    program = ["sh", "-e", "-c"] if tool == "sh" else [sys.executable, "-c"]
    names = {"STORE": file_store.removeprefix("sqlite:///"), "COPY": str(copy)}
    subprocess.run(
        [*program, block(tool, "integrity_check" if tool == "sh" else "COPY")],
        env={"PATH": _PATH, **names},
        check=True,
    )
    server.kill()
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    restored = start(f"sqlite:///{copy}")
    for number in numbers:
        assert restored.ask("GET", f"/v1/cases/{number.replace(' ', '')}").status_code == 200


_PATH = "/usr/sbin:/usr/bin:/sbin:/bin"


def test_a_dump_goes_into_an_empty_database(
    start: Starter, postgresql: Server, threewire: Command, tmp_path: Path
) -> None:
    """pg_dump beside the running service and pg_restore, as on the page, bring a case across."""
    url, empty = postgresql.new_database(), postgresql.new_database()
    assert threewire("db", "upgrade", "--database", url).returncode == 0
    server = start(url)
    number = server.ask("POST", "/v1/cases", {"machine": MACHINE}).json()["number"]
    names = {"DATABASE": url, "EMPTY": empty, "COPY": str(tmp_path / "copy.dump")}
    path = f"{binaries()}:{_PATH}"
    subprocess.run(
        ["sh", "-e", "-c", block("sh", "pg_dump")], env={"PATH": path, **names}, check=True
    )
    server.kill()
    restored = start(empty)
    assert restored.ask("GET", f"/v1/cases/{number.replace(' ', '')}").status_code == 200


def test_systemd_takes_the_unit(tmp_path: Path) -> None:
    """systemd-analyze finds no fault in the unit, its program put where there is one."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd is not installed")
    unit = tmp_path / "threewire.service"
    text = block("ini").replace("/opt/threewire/bin/threewire", "/bin/true")
    unit.write_text(text, encoding="utf-8")
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(unit)],
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert "threewire.service" not in done.stdout + done.stderr
    assert done.returncode == 0, done.stderr


@pytest.fixture
def behind_nginx(
    start: Starter, file_store: str, make_key: MakeKey, tmp_path: Path
) -> Iterator[tuple[str, str, Running, Path]]:
    """The page's nginx before a service with ``proxies = 1``: address, key, server, certificate."""
    program = shutil.which("nginx", path=_PATH)
    if program is None or shutil.which("openssl") is None:
        pytest.skip("nginx is not installed")
    key = make_key(file_store, "agent")
    server = start(file_store, "--proxies", "1")
    port = _free_port()
    file = tmp_path / "nginx.conf"
    file.write_text(_nginx(tmp_path, port, server.port), encoding="utf-8")
    process = subprocess.Popen([program, "-c", str(file), "-p", str(tmp_path), "-e", "nginx.log"])
    _wait_for(port)
    yield f"https://localhost:{port}", key, server, tmp_path / "a.crt"
    process.terminate()
    process.wait(30)


def _nginx(folder: Path, port: int, backend: int) -> str:
    """Return the page's block with ports and certificate of the test, in a file around it."""
    certificate, private = folder / "a.crt", folder / "a.key"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "1", "-subj",
         "/CN=localhost", "-addext", "subjectAltName=DNS:localhost", "-out",
         str(certificate), "-keyout", str(private)],
        check=True, capture_output=True,
    )  # fmt: skip
    text = block("nginx")
    for shown_there, here in [
        ("listen 443", f"listen 127.0.0.1:{port}"), ("127.0.0.1:8000", f"127.0.0.1:{backend}"),
        ("/etc/ssl/threewire.crt", str(certificate)), ("/etc/ssl/threewire.key", str(private)),
    ]:  # fmt: skip
        assert shown_there in text
        text = text.replace(shown_there, here)
    kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    places = "".join(f"{kind}_temp_path {folder}/{kind};\n" for kind in kinds)
    user = "user root;\n" if Path.home() == Path("/root") else ""
    return (
        f"{user}daemon off;\nworker_processes 1;\npid {folder}/nginx.pid;\nevents {{}}\n"
        f"http {{\naccess_log off;\ngzip on;\ngzip_types application/json;\ngzip_proxied any;\n"
        f"{places}{text}}}\n"
    )


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def _wait_for(port: int) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return
    raise AssertionError("nginx does not listen")


def test_behind_nginx(behind_nginx: tuple[str, str, Running, Path]) -> None:
    """Through the documented proxy, compressing: keys hold, a forged address is not believed, the
    tag that it weakened changes and closes a case, the desk's cookie is for TLS alone, and a batch
    of more than a mebibyte streams through."""
    url, key, server, certificate = behind_nginx
    with requests.Session() as session:
        session.trust_env, session.verify = False, str(certificate)
        forged = {"X-Forwarded-For": "198.51.100.9", "X-Forwarded-Host": "evil.example"}
        assert session.get(f"{url}/v1/causes", headers=forged).status_code == 401
        case = session.post(f"{url}/v1/cases", json={"machine": MACHINE}, headers=bearer(key))
        assert case.status_code == 201
        assert "evil" not in case.headers["Location"]
        _changed_and_closed(session, f"{url}/v1/cases/{case.json()['number']}", key)
        page = session.get(f"{url}/desk/sign-in", headers=forged)
        assert page.status_code == 200
        assert "Secure" in page.headers["Set-Cookie"]
        token = re.search(r'name="csrf" value="([^"]+)"', page.text)
        assert token is not None
        signed = session.post(f"{url}/desk/sign-in", data={"csrf": token[1], "key": key})
        assert (signed.status_code, signed.url) == (200, f"{url}/desk")
        _batch(session, url, key)
        too_long = session.post(f"{url}/v1/diagnoses", data=b" " * (2**20 + 1), headers=bearer(key))
        assert too_long.status_code == 413
    lines = [json.loads(line) for line in list(server.lines) if '"refused":"no-key"' in line]
    assert {line["address"] for line in lines} == {"127.0.0.1"}


def _changed_and_closed(session: requests.Session, case: str, key: str) -> None:
    """Change and close a case by the tag that comes through a proxy that compresses."""
    for change in (
        lambda tag: session.patch(case, json={"complaint": "x"}, headers=tag),
        lambda tag: session.post(f"{case}/close", json={"cause": "healthy"}, headers=tag),
    ):
        seen = session.get(case, headers=bearer(key))
        assert seen.headers["Content-Encoding"] == "gzip"
        assert seen.headers["ETag"].startswith("W/")
        done = change(bearer(key) | {"If-Match": seen.headers["ETag"]})
        assert done.status_code == 200, done.text


def _batch(session: requests.Session, url: str, key: str) -> None:
    """Send 40 lines with 1.2 MiB between them as one batch; each is answered in its place."""
    line = json.dumps(QUESTION).encode() + b" " * 32_000 + b"\n"
    header = {"Content-Type": "application/x-ndjson", **bearer(key)}
    answer = session.post(f"{url}/v1/diagnoses/batch", data=line * 40, headers=header, timeout=120)
    assert answer.status_code == 200
    answers = [json.loads(one) for one in answer.text.splitlines()]
    assert len(answers) == 40
    assert all("causes" in one for one in answers)
