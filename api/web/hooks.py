"""What happens around every request: its id, the security headers, one access log line.

Where a setting says so, answers for pages of other origins and smaller ones too. No cookie is ever
shared: a page of another origin sends its key in the Authorization header.
"""

import gzip
import logging
import re
import time
import uuid

from flask import Flask, Response, current_app, g, request
from werkzeug.middleware.proxy_fix import ProxyFix

from api import strict_json
from api.access import authorization as gate
from api.answers import problems
from api.logs import LogLine
from api.service import Service
from api.settings import Settings
from api.store import StoreUnavailableError

REQUEST_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)

_TRACE = re.compile(r"[0-9a-f]{2}-([0-9a-f]{32})-[0-9a-f]{16}-[0-9a-f]{2}.*", re.ASCII)  # W3C
_log = logging.getLogger("threewire.api")

# The service answers JSON to programs: nothing of it is to be framed, sniffed, run or kept.
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # with none, a plain form of our own says Origin: null
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def register(app: Flask, service: Service) -> None:
    """Put the hooks on ``app``: first the id, then who asks, last the log and the numbers."""
    from api.web import prometheus as metrics

    proxies = service.settings.proxies
    if proxies:
        app.wsgi_app = ProxyFix(  # type: ignore[method-assign]  # as Flask documents it
            app.wsgi_app, x_for=proxies, x_proto=proxies, x_host=proxies
        )
    if service.settings.trusted_hosts:
        app.config["TRUSTED_HOSTS"] = list(service.settings.trusted_hosts)
    app.register_error_handler(StoreUnavailableError, _on_store_away)
    app.before_request(_begin)
    app.after_request(_end)
    _share(app, service.settings)
    gate.register(app, service)
    metrics.register(app)


def _on_store_away(error: StoreUnavailableError) -> Response:
    """Answer 503: the database is away, full or too busy, and nothing of the request was kept."""
    _log.warning(
        LogLine(event="store-away", request_id=g.get("request_id", ""), because=str(error))
    )
    detail = f"{str(error)[:1].upper()}{str(error)[1:]}."
    return problems.respond(problems.document(503, detail), {"Retry-After": "5"})


def _begin() -> None:
    g.started = time.perf_counter()
    offered = request.headers.get("X-Request-Id", "")  # kept where short and harmless in a log
    g.request_id = offered if REQUEST_ID.fullmatch(offered) else uuid.uuid4().hex


def _end(response: Response) -> Response:
    response.headers["X-Request-Id"] = g.get("request_id", "")
    for name, value in _HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Cache-Control", "no-store")
    if request.method == "OPTIONS" and response.status_code < 300:
        response.headers.pop("Content-Type", None)  # there is no body
    _log.info(_access_line(response))
    return response


def _access_line(response: Response) -> LogLine:
    """Return what the log says: who asked what, how it ended, how long it took. Nothing sent."""
    now = time.perf_counter()
    trace = _TRACE.fullmatch(request.headers.get("Traceparent", ""))
    refused = {"refused": g.refused, "address": request.remote_addr or ""} if "refused" in g else {}
    return LogLine(
        event="request", request_id=g.get("request_id", ""),
        caller=g.caller.name if "caller" in g else "",
        method=strict_json.shorten(request.method, 20),
        path=strict_json.shorten(request.path, 200), status=response.status_code,
        milliseconds=round((now - g.get("started", now)) * 1000, 1),
        **({"trace_id": trace[1]} if trace else {}), **refused,
    )  # fmt: skip


LEAST_BYTES = 1024  # less does not become smaller
_COMPRESSED = ("application/json", "application/problem+json", "image/svg+xml", "text/csv")
_TAKEN = (
    "Authorization, Content-Type, If-Match, If-None-Match, Idempotency-Key, X-Request-Id, "
    "Traceparent"
)
_SHOWN = (
    "ETag, Location, X-Request-Id, Retry-After, RateLimit, RateLimit-Policy, Idempotent-Replayed, "
    "WWW-Authenticate"
)


def _share(app: Flask, settings: Settings) -> None:
    """Put on ``app`` what browsers elsewhere and callers of compressed answers are given."""
    origins = frozenset(settings.cors_origins)

    def preflight() -> Response | None:
        """Answer a browser that asks, without a key, whether it may ask."""
        asked = request.method == "OPTIONS" and "Access-Control-Request-Method" in request.headers
        if not asked or request.headers.get("Origin") not in origins:
            return None
        answer = current_app.response_class(status=204)
        answer.headers["Access-Control-Allow-Methods"] = "GET, POST, PATCH"
        answer.headers["Access-Control-Allow-Headers"] = _TAKEN
        answer.headers["Access-Control-Max-Age"] = "600"
        return answer

    def shared(response: Response) -> Response:
        response.vary.add("Origin")
        if request.headers.get("Origin") in origins:
            response.headers["Access-Control-Allow-Origin"] = request.headers["Origin"]
            response.headers["Access-Control-Expose-Headers"] = _SHOWN
        return response

    if origins:
        app.before_request(preflight)
        app.after_request(shared)
    if settings.compress:
        app.after_request(compressed)


def compressed(response: Response) -> Response:
    """Return an answer with a smaller body for who takes gzip; its tag becomes a weak one.

    Pages are left alone: what a stranger may put beside a form's token must not change its length.
    """
    if response.mimetype not in _COMPRESSED or response.is_streamed:
        return response
    response.vary.add("Accept-Encoding")
    if not request.accept_encodings["gzip"] or (response.content_length or 0) < LEAST_BYTES:
        return response
    response.set_data(gzip.compress(response.get_data(), compresslevel=5, mtime=0))
    response.headers["Content-Encoding"] = "gzip"
    tag, weak = response.get_etag()
    if tag is not None and not weak:
        response.set_etag(tag, weak=True)
    return response
