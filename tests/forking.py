"""Processes of ``threewire`` that are forked from one which has loaded already.

Of the seconds that a start takes nearly all go into imports, the shipped knowledge base and its
circuits, the same each time. One process does that for all commands and servers that the tests of
one worker start: it forks, and the child takes the arguments, environment, folder and streams that
it is given and runs the command line to its end. What a test says of the start itself (imports,
warnings, the order of hashes) it has to say of ``python -m api``.
"""

import atexit
import gc
import importlib
import json
import os
import select
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import warnings
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import IO, Any

ROOT = Path(__file__).parents[1]
_MESSAGE = 2**17  # bytes: arguments and environment of one command
_STREAMS = 3  # standard input, output and errors
# what the commands import only once they know that they need it
_MODULES = (
    "api.cli.serve",
    "api.web.health",
    "api.desk",
    "api.cases.learning",
    "api.server.processes",
    "api.server.slow_clients",
)


class Forked:
    """A command that runs in a process of its own, with the part of Popen that tests use."""

    def __init__(
        self, arguments: tuple[str, ...], environment: Mapping[str, str], folder: Path,
        streams: tuple[IO[Any] | int, ...], *, terminal: bool = False, parent: str = "",
    ) -> None:  # fmt: skip
        """Start it as the leader of a session, with ``terminal`` (its input) as its terminal."""
        self._line = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._line.connect(parent or _parent())
        order = {"arguments": arguments, "environment": dict(environment),
                 "folder": str(folder), "terminal": terminal}  # fmt: skip
        numbers = [one if isinstance(one, int) else one.fileno() for one in streams]
        socket.send_fds(self._line, [json.dumps(order).encode()], numbers)
        self.pid = int(self._line.recv(_MESSAGE))
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """Return the exit status, negative for a signal, or None while it runs."""
        with suppress(subprocess.TimeoutExpired):
            self.wait(0)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Return the exit status once it has ended. Raises subprocess.TimeoutExpired."""
        if self.returncode is None:
            if not select.select([self._line], [], [], timeout)[0]:
                raise subprocess.TimeoutExpired("threewire", timeout or 0)
            self.returncode = int(self._line.recv(_MESSAGE))
            self._line.close()
        return self.returncode

    def send_signal(self, number: int) -> None:
        """Send a signal, if it has not ended."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)


def run(
    *arguments: str | Path, environment: Mapping[str, str] | None = None, folder: Path = ROOT,
    given: bytes = b"", seconds: float = 120,
) -> "subprocess.CompletedProcess[bytes]":  # fmt: skip
    """Run a command to its end, ``given`` on its standard input, and return what it said."""
    words = tuple(map(str, arguments))
    environment = os.environ if environment is None else environment
    theirs, ours = os.pipe()
    writer = threading.Thread(target=_write, args=(ours, given))
    with tempfile.TemporaryFile() as output, tempfile.TemporaryFile() as errors:
        process = Forked(words, environment, folder, (theirs, output, errors))
        os.close(theirs)
        writer.start()
        try:
            status = process.wait(seconds)
        finally:
            process.kill()
            writer.join()
        output.seek(0)
        errors.seek(0)
        return subprocess.CompletedProcess(words, status, output.read(), errors.read())


def _write(pipe: int, given: bytes) -> None:
    with suppress(BrokenPipeError), open(pipe, "wb") as stream:
        stream.write(given)


def program(file: Path) -> Path:
    """Write a program that is ``threewire``, forked, and return it."""
    lines = (
        f"#!{sys.executable} -S",
        f"import os, pathlib, sys; sys.path.insert(0, {str(ROOT)!r})",
        "from tests.forking import Forked",
        "command = tuple(sys.argv[1:]), os.environ, pathlib.Path.cwd(), (0, 1, 2)",
        f"sys.exit(Forked(*command, parent={_parent()!r}).wait())",
    )
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    file.chmod(0o755)
    return file


@cache
def _parent() -> str:
    """Start the process that all are forked from; return its address."""
    folder = tempfile.TemporaryDirectory(prefix="threewire-fork-")
    address = f"{folder.name}/socket"
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.forking", address], stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)}, cwd=ROOT,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stdout.readline() == b"ready\n", "nothing to fork from"
    process.stdout.close()
    atexit.register(_end, process, folder)
    return address


def _end(process: "subprocess.Popen[bytes]", folder: "tempfile.TemporaryDirectory[str]") -> None:
    process.communicate()  # closes its input, and it ends
    folder.cleanup()


class _Parent:
    """Forks a child for each order, and tells who gave it how the child ended."""

    def __init__(self, address: str) -> None:
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._listener.bind(address)
        self._listener.listen(16)
        self._awake, self._wake = socket.socketpair()
        for one in (self._awake, self._wake):
            one.setblocking(False)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        signal.set_wakeup_fd(self._wake.fileno())
        self._lines: dict[int, socket.socket] = {}

    def next_child(self) -> list[str]:
        """Return, in each child, the arguments it was forked for; raises SystemExit at the end of
        standard input."""
        while True:
            ready = select.select([self._listener, self._awake, 0], [], [])[0]
            if self._awake in ready:
                self._awake.recv(4096)
                self._tell_of_the_ended()
            if self._listener in ready:
                line, _ = self._listener.accept()
                message, numbers, _, _ = socket.recv_fds(line, _MESSAGE, _STREAMS)
                self._lines[pid := os.fork()] = line
                if pid == 0:
                    return self._become(line, json.loads(message), numbers)
                for number in numbers:
                    os.close(number)
            if 0 in ready:
                raise SystemExit

    def _tell_of_the_ended(self) -> None:
        with suppress(ChildProcessError):
            while (ended := os.waitpid(-1, os.WNOHANG))[0]:
                with self._lines.pop(ended[0]) as line, suppress(OSError):
                    line.send(str(os.waitstatus_to_exitcode(ended[1])).encode())

    def _become(self, line: socket.socket, order: dict[str, Any], numbers: list[int]) -> list[str]:
        """Be the process that was ordered, and nothing of its parent."""
        signal.set_wakeup_fd(-1)
        for number in (signal.SIGCHLD, signal.SIGINT):
            signal.signal(number, signal.SIG_DFL)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        os.setsid()
        for place, number in enumerate(numbers):
            os.dup2(number, place)
            os.close(number)
        if order["terminal"]:
            import fcntl
            import termios

            fcntl.ioctl(0, termios.TIOCSCTTY, 0)
        os.environ.clear()
        os.environ.update(order["environment"])
        os.chdir(order["folder"])
        _reopen()
        line.send(str(os.getpid()).encode())
        for one in (*self._lines.values(), self._listener, self._awake, self._wake):
            one.close()
        return list(order["arguments"])


def _reopen() -> None:
    """Open the standard streams as a new interpreter in this environment would."""
    encoding, _, errors = os.environ.get("PYTHONIOENCODING", "utf-8").partition(":")
    for number, (name, mode) in enumerate((("stdin", "r"), ("stdout", "w"), ("stderr", "w"))):
        handler = "backslashreplace" if name == "stderr" else errors or "strict"
        line = 1 if name == "stderr" or os.isatty(number) else -1
        found = open(number, mode, line, encoding or "utf-8", handler, closefd=False)  # noqa: SIM115
        setattr(sys, name, found)
        setattr(sys, f"__{name}__", found)
    if "PYTHONWARNINGS" in os.environ:
        warnings.simplefilter(os.environ["PYTHONWARNINGS"])  # type: ignore[arg-type]


def _load() -> None:
    """Read and solve what every start would; it is kept for those that ask for just that."""
    from api.cli.main import COMMANDS
    from engine.diagnosis import shipped, shipped_knowledge

    for name in (*_MODULES, *(f"api.cli.{one.partition(':')[0]}" for one, _ in COMMANDS.values())):
        importlib.import_module(name)
    # The client library of the metrics looks once, as it is imported, for where workers count.
    assert "prometheus_client" not in sys.modules
    for circuit in shipped_knowledge().circuits.values():
        machine = {"duty": circuit.duty, "control": circuit.control, "coil": "unknown"}
        shipped().diagnose({"machine": machine})


def _main() -> None:
    parent = _Parent(sys.argv[1])
    _load()
    gc.freeze()
    os.write(1, b"ready\n")
    sys.argv[1:] = parent.next_child()
    from api.cli.main import main

    main()


if __name__ == "__main__":
    _main()
