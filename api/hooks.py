"""What happens around every request: its id, the security headers, one access log line."""

import logging
import re
import time
import uuid

from flask import Flask, Response, g, request

from api import strict_json

REQUEST_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)

_log = logging.getLogger("threewire.api")

# The service answers JSON to programs: nothing of it is to be framed, sniffed, run or kept.
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def register(app: Flask) -> None:
    """Put the hooks on ``app``."""
    app.before_request(_begin)
    app.after_request(_end)


def _begin() -> None:
    g.started = time.perf_counter()
    g.request_id = _request_id(request.headers.get("X-Request-Id", ""))


def _request_id(offered: str) -> str:
    """Return the caller's id when it is short and harmless in a log, else a new one."""
    return offered if REQUEST_ID.fullmatch(offered) else uuid.uuid4().hex


def _end(response: Response) -> Response:
    response.headers["X-Request-Id"] = g.get("request_id", "")
    for name, value in _HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Cache-Control", "no-store")
    if request.method == "OPTIONS":
        response.headers.pop("Content-Type", None)  # there is no body
    _log.info(_access_line(response))
    return response


def _access_line(response: Response) -> str:
    """Return one line of JSON: who asked what, how it ended, how long it took. Nothing sent."""
    elapsed = time.perf_counter() - g.get("started", time.perf_counter())
    return strict_json.dumps(
        {
            "request_id": g.get("request_id", ""),
            "method": strict_json.shorten(request.method, 20),
            "path": strict_json.shorten(request.path, 200),
            "status": response.status_code,
            "milliseconds": round(elapsed * 1000, 1),
        }
    ).rstrip()
