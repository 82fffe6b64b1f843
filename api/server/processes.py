"""The production server: gunicorn around workers of our own, set up in code without a file.

HUP loads settings and knowledge anew and changes the workers without refusing a request; what
cannot be used is logged and the server goes on as it was. TERM ends after the requests under way.
"""

import errno
import gc
import logging
import os
import shutil
import socket
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, cast

from flask import Flask
from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]
from gunicorn.glogging import Logger  # type: ignore[import-untyped]

from api import logs
from api.answers.problems import ProblemError
from api.cases.events import sender
from api.logs import NAME, LogLine
from api.service import Service
from api.settings import Settings

_SHARED_MEMORY = Path("/dev/shm")  # noqa: S108 - a heartbeat there never waits for a disk
_FOLDER = "PROMETHEUS_MULTIPROC_DIR"
_log = logging.getLogger("threewire.server")


class ServerLog(Logger):  # type: ignore[misc]
    """gunicorn's logger; its lines go through the service's own handler."""

    def setup(self, cfg: Any) -> None:
        """Set the level as gunicorn does, and none of its handlers."""
        super().setup(cfg)
        self.error_log.handlers.clear()
        self.error_log.propagate = True


class Server(BaseApplication):  # type: ignore[misc]  # gunicorn carries no types
    """gunicorn around an application that ``make`` makes, at the start and at every reload."""

    def __init__(self, make: Callable[[], Flask], refusals: tuple[type[Exception], ...]) -> None:
        self._make, self._refusals = make, refusals
        self._app = self._proved()
        super().__init__()

    def _proved(self) -> Flask:
        """Make the application, its circuits solved: a worker that is forked, or forked again under
        load after another one died, is ready at once."""
        from api.web import health  # after the folder of the metrics is named

        app = self._make()
        with app.app_context(), suppress(ProblemError):  # /readyz says so, and goes on asking
            health.prove(service_of(app))
        # what is loaded stays: no worker's collector looks through it, 0.1 s each time
        gc.unfreeze()
        gc.collect()
        gc.freeze()
        return app

    def load_config(self) -> None:
        """Put the settings into gunicorn's own configuration, and set the log up."""
        logs.set_up(service_of(self._app).settings.log_level)
        for name, value in configuration(service_of(self._app).settings).items():
            self.cfg.set(name, value)

    def load(self) -> Flask:
        """Return the application, made once before the workers fork."""
        return self._app

    def reload(self) -> None:
        """Make the application anew; keep the old one when the new one cannot be made."""
        try:
            self._app = self._proved()
        except self._refusals as error:
            _log.error(LogLine(event="reload-refused", because=str(error)))
            return
        logging.getLogger(NAME).setLevel(service_of(self._app).settings.log_level)
        self.callable = None  # gunicorn's own; it asks load() again
        super().reload()
        version = service_of(self._app).knowledge.version
        _log.info(LogLine(event="reloaded", knowledge_version=version))


def service_of(app: Flask) -> Service:
    """Return what the application works with."""
    return cast(Service, app.extensions["threewire"])


def configuration(settings: Settings) -> dict[str, Any]:
    """Return gunicorn's settings."""
    return {
        "bind": f"{bracketed(settings.host)}:{settings.port}",
        "workers": settings.workers,
        "threads": settings.threads,
        "timeout": settings.timeout,
        "graceful_timeout": settings.stop_seconds,
        "worker_class": "api.server.slow_clients.PatientWorker",
        "worker_tmp_dir": str(_SHARED_MEMORY) if os.access(_SHARED_MEMORY, os.W_OK) else None,
        "preload_app": True,
        "logger_class": ServerLog,
        "loglevel": settings.log_level.lower(),
        # the control socket would be written into the home directory; nobody asked for one
        "control_socket_disable": True,
        "post_fork": _after_fork,
        "post_worker_init": lambda worker: sender.start(worker.app.wsgi()),
        "worker_exit": lambda _server, _worker: sender.stop(),
        "child_exit": _worker_gone,
    }


def require_free(host: str, port: int) -> None:
    """Raise OSError, naming the address, when nothing can listen there.

    gunicorn would try for five seconds and say it in as many lines.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        socket.create_server((host.strip("[]"), port), family=family).close()
    except OSError as error:
        why = error.strerror
        if error.errno == errno.EADDRINUSE:
            why = "something else listens there; stop it, or choose another --port"
        raise OSError(error.errno, why, f"{bracketed(host)}:{port}") from None


def bracketed(host: str) -> str:
    """Return the host as an address and port want it: IPv6 in brackets."""
    return f"[{host}]" if ":" in host and not host.startswith("[") else host


def _after_fork(_server: Any, worker: Any) -> None:
    """Forget the parent's connections to the database."""
    database = service_of(worker.app.wsgi()).database
    if database is not None:
        database.forked()


def _worker_gone(_server: Any, worker: Any) -> None:
    from api.web import prometheus

    prometheus.worker_gone(worker.pid)


def run(make: Callable[[], Flask], refusals: tuple[type[Exception], ...]) -> None:
    """Serve until interrupted. Raises what ``make`` raises, before anything is listened on."""
    folder = tempfile.mkdtemp(prefix="threewire-numbers-")
    os.environ[_FOLDER] = folder  # read when the metrics are first imported
    master = os.getpid()
    try:
        Server(make, refusals).run()
    finally:
        if os.getpid() == master:  # a worker leaves through here too
            os.environ.pop(_FOLDER, None)
            shutil.rmtree(folder, ignore_errors=True)
