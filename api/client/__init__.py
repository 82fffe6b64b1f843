"""A client of the service for programs in Python; it needs ``requests`` and nothing else of ours.

Every method is one request to one address of /openapi.json. What the service refuses is raised as
RequestRefused, with its problem document; a request that may be sent again safely is sent again.
"""

import time
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any, Literal
from urllib.parse import quote
from uuid import uuid4

import requests

Json = dict[str, Any]
Sent = Mapping[str, Any]
TRIES = 4
_AGAIN = (429, 503)
_CUT_OFF = (
    requests.ConnectionError, requests.Timeout, requests.exceptions.ChunkedEncodingError,
)  # fmt: skip


class RequestRefused(Exception):  # noqa: N818 - said as a person says it
    """The service did not do it; ``problem`` is its problem document (RFC 9457)."""

    def __init__(self, status: int, problem: Json) -> None:
        super().__init__(f"{status}: {problem.get('detail') or problem.get('title', '')}")
        self.status = status
        self.problem = problem

    @property
    def errors(self) -> list[Json]:
        """Return every fault of what was sent, each with its path and message."""
        found: list[Json] = self.problem.get("errors", [])
        return found


class Client:
    """Speaks to the service at ``url`` with an API key; use it in one thread.

    ``idempotency_key`` names a thing to be done for good: who starts anew and sends it again, with
    the same words, does it once. Left out it is made up for one call.
    """

    def __init__(self, url: str, key: str | None = None, seconds: float = 30.0) -> None:
        self._url, self._seconds = url.rstrip("/"), seconds
        self._session = requests.Session()
        if key is not None:
            self._session.headers["Authorization"] = f"Bearer {key}"

    def diagnose(self, request: Sent) -> Json:
        """Diagnose one machine; nothing is kept."""
        return self._ask("POST", "/v1/diagnoses", request)

    def open_case(self, opening: Sent, idempotency_key: str | None = None) -> Json:
        """Open a case; sent again after a failure of the line it is opened once."""
        return self._once("/v1/cases", opening, idempotency_key)

    def case(self, number: str) -> Json:
        """Return a case."""
        return self._ask("GET", self._of(number))

    def diagnosis(self, number: str) -> Json:
        """Return the whole diagnosis of a case as it stands."""
        return self._ask("GET", self._of(number, "/diagnosis"))

    def cases(self, **filters: str | int) -> Iterator[Json]:
        """Give the cases that fit, newest first: state, reference, fleet_number, text."""
        asked: Json = dict(filters)
        while True:
            page = self._ask("GET", "/v1/cases", query=asked)
            yield from page["cases"]
            if page["next_cursor"] is None:
                return
            asked["cursor"] = page["next_cursor"]

    def add_findings(
        self, number: str, findings: Iterable[Sent], by: str = "",
        idempotency_key: str | None = None,
    ) -> Json:  # fmt: skip
        """Add findings to a case, in one step."""
        body = {"findings": list(findings), "by": by}
        return self._once(self._of(number, "/findings"), body, idempotency_key)

    def withdraw(
        self, number: str, place: int, because: str = "", by: str = "",
        idempotency_key: str | None = None,
    ) -> Json:  # fmt: skip
        """Withdraw a finding; it stays in the case and counts no more."""
        body = {"because": because, "by": by}
        return self._once(self._of(number, f"/findings/{place}/withdraw"), body, idempotency_key)

    def change(self, number: str, changes: Sent, version: int) -> Json:
        """Merge changes into the case that was seen at a version; raises 412 if it has changed."""
        return self._ask("PATCH", self._of(number), changes, version=version)

    def close(
        self, number: str, outcome: Sent, version: int, idempotency_key: str | None = None
    ) -> Json:
        """Close the case that was seen at a version; raises 412 if it has changed."""
        return self._once(self._of(number, "/close"), outcome, idempotency_key, version)

    def reopen(
        self, number: str, because: str = "", by: str = "", idempotency_key: str | None = None
    ) -> Json:
        """Open a closed case again."""
        return self._once(self._of(number, "/reopen"), {"because": because, "by": by},
                          idempotency_key)  # fmt: skip

    def events(self, after: int = 0) -> Iterator[Json]:
        """Give what happened behind an event, up to now; keep the last one's ``id``."""
        while True:
            page = self._ask("GET", "/v1/events", query={"after": after})
            yield from page["events"]
            if page["next_after"] == after:
                return
            after = page["next_after"]

    @staticmethod
    def _of(number: str, end: str = "") -> str:
        return f"/v1/cases/{quote(number.replace(' ', ''), safe='')}{end}"

    def _once(self, path: str, body: Sent, key: str | None, version: int | None = None) -> Json:
        return self._ask("POST", path, body, version=version, key=key or uuid4().hex)

    def _ask(  # noqa: PLR0913 - what an HTTP request has
        self, method: Literal["GET", "POST", "PATCH"], path: str, body: Sent | None = None, *,
        query: Sent | None = None, version: int | None = None, key: str | None = None,
    ) -> Json:  # fmt: skip
        headers = {} if version is None else {"If-Match": f'"{version}"'}
        headers |= {} if key is None else {"Idempotency-Key": key}
        for left in reversed(range(TRIES)):
            try:
                answer = self._session.request(
                    method, self._url + path, params=query, json=body, headers=headers,
                    timeout=self._seconds, allow_redirects=False,
                )  # fmt: skip
            except _CUT_OFF:
                if not left or not (key or method == "GET"):
                    raise
                time.sleep(1.0)
                continue
            if answer.status_code not in _AGAIN or not left:
                break
            time.sleep(min(_wait(answer.headers.get("Retry-After", "1")), self._seconds))
        return _read(answer)


def _wait(said: str) -> float:
    """Return the seconds that Retry-After says, as a number or as a date (RFC 9110)."""
    if said.isdecimal():
        return float(said)
    try:
        until = parsedate_to_datetime(said)
    except ValueError:
        return 1.0
    return max(0.0, until.timestamp() - datetime.now(UTC).timestamp())


def _read(answer: requests.Response) -> Json:
    """Return what the service says. Raises RequestRefused, also for what is none of its answers."""
    try:
        found = answer.json()
    except requests.JSONDecodeError:
        found = None
    if not isinstance(found, dict):
        raise RequestRefused(answer.status_code, {"detail": f"no answer: {answer.text[:200]}"})
    if not 200 <= answer.status_code < 300:
        raise RequestRefused(answer.status_code, found)
    return found
