"""The production server: gunicorn with threads, set up in code so that no file is needed.

HUP loads settings and knowledge anew and changes the workers without refusing a request; what
cannot be used is logged and the server goes on as it was. TERM ends after the requests under way.
"""

import logging
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

from flask import Flask
from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]

from api import logs
from api.logs import NAME, Line
from api.service import Service
from api.settings import Settings

_SHARED_MEMORY = Path("/dev/shm")  # noqa: S108 - a heartbeat there never waits for a disk
_FOLDER = "PROMETHEUS_MULTIPROC_DIR"
_log = logging.getLogger("threewire.server")


class Server(BaseApplication):  # type: ignore[misc]  # gunicorn carries no types
    """gunicorn around an application that ``make`` makes, at the start and at every reload."""

    def __init__(self, make: Callable[[], Flask], refusals: tuple[type[Exception], ...]) -> None:
        self._make, self._refusals = make, refusals
        self._app = make()
        super().__init__()

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
            self._app = self._make()
        except self._refusals as error:
            _log.error(Line(event="reload-refused", because=str(error)))
            return
        logging.getLogger(NAME).setLevel(service_of(self._app).settings.log_level)
        self.callable = None  # gunicorn's own; it asks load() again
        super().reload()


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
        "keepalive": 75,  # longer than a proxy keeps its connections, so that it is never surprised
        "limit_request_line": 8190,
        "limit_request_fields": 64,
        "limit_request_field_size": 8190,
        "logger_class": "api.server.log.ServerLog",
        "loglevel": settings.log_level.lower(),
        # X-Forwarded headers are believed as the setting 'proxies' says, and by nobody else
        "forwarded_allow_ips": "",
        "secure_scheme_headers": {},
        # the control socket would be written into the home directory; nobody asked for one
        "control_socket_disable": True,
        "post_fork": _after_fork,
        "post_worker_init": _begin_work,
        "worker_exit": _end_work,
        "child_exit": _worker_gone,
    }


def bracketed(host: str) -> str:
    """Return the host as an address and port want it: IPv6 in brackets."""
    return f"[{host}]" if ":" in host and not host.startswith("[") else host


def _after_fork(_server: Any, worker: Any) -> None:
    """Forget the parent's connections to the database."""
    database = service_of(worker.app.wsgi()).database
    if database is not None:
        database.forked()


def _begin_work(worker: Any) -> None:
    """Start what a worker does beside its requests: sending events."""
    from api.cases.events import sender

    sender.start(worker.app.wsgi())


def _end_work(_server: Any, _worker: Any) -> None:
    from api.cases.events import sender

    sender.stop()


def _worker_gone(_server: Any, worker: Any) -> None:
    from api.web import prometheus as metrics

    metrics.worker_gone(worker.pid)


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
