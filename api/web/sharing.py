"""Answers for web pages of other origins, and smaller ones: both only where a setting says so.

No cookie is ever shared: a page of another origin sends its key in the Authorization header.
"""

import gzip

from flask import Flask, Response, current_app, request

from api.settings import Settings

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


def register(app: Flask, settings: Settings) -> None:
    """Put on ``app`` what the settings ask for."""
    origins = frozenset(settings.cors_origins)

    def preflight() -> Response | None:
        """Answer a browser that asks, without a key, whether it may ask."""
        asked = request.headers.get("Access-Control-Request-Method")
        if request.method != "OPTIONS" or asked is None:
            return None
        if request.headers.get("Origin") not in origins:
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
