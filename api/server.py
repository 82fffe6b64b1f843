"""The production server: gunicorn with threads, set up in code so that no file is needed."""

from typing import Any

from flask import Flask
from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]

from api import create_app


class Server(BaseApplication):  # type: ignore[misc]  # gunicorn carries no types
    """gunicorn around ``create_app``."""

    def __init__(self, settings: dict[str, Any], overlays: list[str]) -> None:
        self._settings = settings
        self._overlays = overlays
        super().__init__()

    def load_config(self) -> None:
        """Put the settings into gunicorn's own configuration."""
        for name, value in self._settings.items():
            self.cfg.set(name, value)

    def load(self) -> Flask:
        """Return the application, made once before the workers fork."""
        return create_app({"OVERLAYS": self._overlays})


def run(bind: str, overlays: list[str], workers: int, threads: int, timeout: int) -> None:
    """Serve until interrupted; requests under way are finished first."""
    settings = {
        "bind": bind,
        "workers": workers,
        "threads": threads,
        "worker_class": "api.slow_clients.PatientWorker",
        "timeout": timeout,
        "preload_app": True,
        # the control socket would be written into the home directory; nobody asked for one
        "control_socket_disable": True,
    }
    Server(settings, overlays).run()
