"""A client of the service for programs in Python; it needs ``requests`` and nothing else of ours.

Every method is one request to one address of /openapi.json. What the service refuses is raised as
RequestRefused, with its problem document; a request that may be sent again safely is sent again.
"""

import time
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Literal
from urllib.parse import quote
from uuid import uuid4

import requests

Json = dict[str, Any]
Sent = Mapping[str, Any]
TRIES = 4
_AGAIN = (429, 503)


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
    """Speaks to the service at ``url`` with an API key; use it in one thread."""

    def __init__(self, url: str, key: str | None = None, seconds: float = 30.0) -> None:
        self._url, self._seconds = url.rstrip("/"), seconds
        self._session = requests.Session()
        if key is not None:
            self._session.headers["Authorization"] = f"Bearer {key}"

    def diagnose(self, request: Sent) -> Json:
        """Diagnose one machine; nothing is kept."""
        return self._ask("POST", "/v1/diagnoses", request)

    def open_case(self, opening: Sent) -> Json:
        """Open a case; sent again after a failure of the line it is opened once."""
        return self._ask("POST", "/v1/cases", opening, once=True)

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

    def add_findings(self, number: str, findings: Iterable[Sent], by: str = "") -> Json:
        """Add findings to a case, in one step."""
        body = {"findings": list(findings), "by": by}
        return self._ask("POST", self._of(number, "/findings"), body, once=True)

    def withdraw(self, number: str, place: int, because: str = "", by: str = "") -> Json:
        """Withdraw a finding; it stays in the case and counts no more."""
        body = {"because": because, "by": by}
        return self._ask("POST", self._of(number, f"/findings/{place}/withdraw"), body, once=True)

    def change(self, number: str, changes: Sent, version: int) -> Json:
        """Merge changes into the case that was seen at a version; raises 412 if it has changed."""
        return self._ask("PATCH", self._of(number), changes, version=version)

    def close(self, number: str, outcome: Sent, version: int) -> Json:
        """Close the case that was seen at a version; raises 412 if it has changed."""
        return self._ask("POST", self._of(number, "/close"), outcome, version=version, once=True)

    def reopen(self, number: str, because: str = "", by: str = "") -> Json:
        """Open a closed case again."""
        body = {"because": because, "by": by}
        return self._ask("POST", self._of(number, "/reopen"), body, once=True)

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

    def _ask(  # noqa: PLR0913 - what an HTTP request has
        self, method: Literal["GET", "POST", "PATCH"], path: str, body: Sent | None = None, *,
        query: Sent | None = None, version: int | None = None, once: bool = False,
    ) -> Json:  # fmt: skip
        headers = {} if version is None else {"If-Match": f'"{version}"'}
        if once:
            headers["Idempotency-Key"] = uuid4().hex
        for left in reversed(range(TRIES)):
            try:
                answer = self._session.request(
                    method, self._url + path, params=query, json=body, headers=headers,
                    timeout=self._seconds, allow_redirects=False,
                )  # fmt: skip
            except requests.ConnectionError:
                if not left or not (once or method == "GET"):
                    raise
                time.sleep(1.0)
                continue
            if answer.status_code not in _AGAIN or not left:
                break
            time.sleep(min(float(answer.headers.get("Retry-After", "1")), self._seconds))
        return _read(answer)


def _read(answer: requests.Response) -> Json:
    try:
        found = answer.json()
    except requests.JSONDecodeError:
        found = {"detail": answer.text[:200]}
    if not answer.ok:
        raise RequestRefused(answer.status_code, found)
    told: Json = found
    return told
