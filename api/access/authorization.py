"""The one hook before every request: who asks, how often, and whether the view may be used."""

import logging
import math
import time
from dataclasses import dataclass
from typing import Any, cast

from flask import Flask, Response, current_app, g, request

from api.access import LOCAL, Caller, caller, exposure, needed, session
from api.access.keys import KeyCache
from api.access.rate_limiter import RateLimiter, Verdict
from api.answers.problems import ProblemError
from api.logs import LogLine
from api.service import Service
from api.settings import Settings

FAILURES_PER_MINUTE = 20  # tries with a wrong key, from one address
_REALM = 'Bearer realm="threewire"'
_KEY = "threewire_access"
_log = logging.getLogger("threewire.access")


@dataclass
class Access:
    """The keys, the counters and the rules of one application."""

    settings: Settings
    keys: KeyCache | None  # None: nothing is kept, so there are no keys
    limiter: RateLimiter

    def keys_needed(self) -> bool:
        """Return whether a caller needs a key now. Raises StoreUnavailableError."""
        if self.settings.require_keys == "no" or self.keys is None:
            return False
        if self.settings.require_keys == "yes" or exposure.beyond_loopback(self.settings):
            return True
        return not self.keys.is_empty()


def register(app: Flask, service: Service) -> None:
    """Put the hook on ``app``; ``app.config`` may hold a RATE_LIMITER that outlives it."""
    cache = KeyCache(service.database) if service.database is not None else None
    if cache is not None:
        cache.warm()  # workers are forked with it
    limiter = app.config.get("RATE_LIMITER") or RateLimiter()
    app.extensions[_KEY] = Access(service.settings, cache, limiter)
    session.set_up(app, service)
    app.before_request(hold)
    app.after_request(_tell_rate)


def access() -> Access:
    """Return the access rules of the application that is handling this request."""
    return cast(Access, current_app.extensions[_KEY])


def hold() -> None:
    """Let the request on to its view, or raise ProblemError 401, 403 or 429."""
    view = current_app.view_functions.get(request.endpoint or "")
    role = needed(view)
    if role == "public":
        return
    if request.method == "OPTIONS":  # it only names the methods of all views at this address
        role = "read"
    found = _caller(role)
    g.caller = found
    if not found.may(role):
        g.refused = "role"
        challenge = f'{_REALM}, error="insufficient_scope", scope="{role}"'
        detail = f"This needs the role '{role}'; the key '{found.name}' has '{found.role}'."
        raise ProblemError(403, detail, headers={"WWW-Authenticate": challenge})
    if found is not LOCAL:
        _count(found)


def _caller(role: str) -> Caller:
    """Return who asks. Raises ProblemError 401 or 429."""
    rules, offered = access(), request.authorization
    # what a proxy in front asks for (Basic) is the proxy's, and says nothing about a key
    if offered is not None and offered.type == "bearer" and rules.keys is not None:
        found = rules.keys.find(offered.token or "")
        if found is None:
            raise failed(rules)
        return found
    if not rules.keys_needed():
        if not exposure.direct(request.headers, request.environ):
            raise _no_key(
                f"This needs a key with the role '{role}': without keys only this machine is "
                "served, directly and under the name localhost."
            )
        return LOCAL
    found = session.caller_of_session(rules.keys)
    if found is None:
        raise _no_key(f"This needs a key with the role '{role}'.")
    return found


def failed(rules: Access) -> ProblemError:
    """Log and count a try with a wrong key; return what it is answered with, 401 or 429.

    A key that is right is never held up by wrong ones from the same address: 160 random bits are
    not guessed, and an old till must not lock out the counter that shares its address.
    """
    address = request.remote_addr or ""
    verdict = rules.limiter.take(f"failed {exposure.network(address)}", FAILURES_PER_MINUTE)
    if not verdict.allowed:
        g.refused = "throttled"
        return _too_often("Too many wrong keys from this address.", verdict)
    g.refused = "wrong-key"
    _log.warning(
        LogLine(event="wrong-key", address=address, request_id=g.get("request_id", ""))
    )  # never the key, which may be another service's
    return _no_key("There is no such key, or it is revoked.", ', error="invalid_token"')


def _no_key(detail: str, more: str = "") -> ProblemError:
    g.setdefault("refused", "no-key")
    return ProblemError(401, detail, headers={"WWW-Authenticate": _REALM + more})


def _count(found: Caller) -> None:
    """Count the request for its key. Raises ProblemError 429."""
    per_minute = access().settings.rate_per_minute
    verdict = access().limiter.take(f"key {found.id}", per_minute)
    g.rate = (per_minute, verdict)
    if not verdict.allowed:
        g.refused = "rate"
        raise _too_often(f"This key may make {per_minute} requests a minute.", verdict)


def wait_for_turn() -> None:
    """Count one more thing that a request asks for; wait until the rate of its key has room."""
    found, rules = caller(), access()
    if found is LOCAL:
        return
    while True:
        verdict = rules.limiter.take(f"key {found.id}", rules.settings.rate_per_minute)
        if verdict.allowed:
            return
        time.sleep(verdict.wait)


def _too_often(detail: str, verdict: Verdict) -> ProblemError:
    wait = str(max(1, math.ceil(verdict.wait)))
    return ProblemError(429, detail, headers={"Retry-After": wait})


def _tell_rate(response: Response) -> Response:
    """Say what is left of the key's rate, in the fields of the IETF's draft on rate limits."""
    rate: Any = g.get("rate")
    if rate is not None:
        per_minute, verdict = rate
        response.headers["RateLimit-Policy"] = f'"key";q={per_minute};w=60'
        left = f'"key";r={verdict.left};t={math.ceil(verdict.full)}'
        response.headers["RateLimit"] = left
    return response
