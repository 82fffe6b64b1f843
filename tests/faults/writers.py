"""Writers that note what the service acknowledged, and a reader that holds the store to it."""

import json
import threading
import time
import uuid
from dataclasses import dataclass, field
from typing import Any

import requests
from sqlalchemy import select
from sqlalchemy.orm import selectinload

from api.store import Database
from api.store.models import CaseRow, StepRow

MACHINE = {"duty": "fuel-shutoff", "control": "ignition-timed", "coil": "case-ground"}


@dataclass
class Acknowledged:
    """What was acknowledged: cases by number, each with the notes of its findings."""

    cases: dict[str, set[str]] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)
    tried: int = 0

    def case(self, number: str) -> None:
        """Note a case."""
        with self.lock:
            self.cases[number] = set()

    def finding(self, number: str, note: str) -> None:
        """Note a finding of a case."""
        with self.lock:
            self.cases[number].add(note)


class Writer(threading.Thread):
    """Opens a case and adds findings to it, one after the other, until told to stop.

    A request without an answer is sent again with the same Idempotency-Key until one comes.
    """

    def __init__(self, url: str, seen: Acknowledged) -> None:
        super().__init__(daemon=True)
        self.url, self.seen = url, seen
        self.stopping = threading.Event()
        self.surprises: list[str] = []

    def run(self) -> None:
        """Write until told to stop."""
        while not self.stopping.is_set():
            opened = self._send("/v1/cases", {"machine": MACHINE, "complaint": "does not start"})
            if opened is None:
                return
            number = opened["number"].replace(" ", "")
            self.seen.case(number)
            for _ in range(5):
                note = uuid.uuid4().hex
                body = {"check": "fuse-look", "outcome": "intact", "note": note}
                if self._send(f"/v1/cases/{number}/findings", body) is None:
                    return
                self.seen.finding(number, note)

    def _send(self, path: str, body: dict[str, Any]) -> dict[str, Any] | None:
        """Return the acknowledgement, or None when told to stop before there was one."""
        headers = {"Idempotency-Key": uuid.uuid4().hex, "Content-Type": "application/json"}
        data = json.dumps(body).encode()
        while not self.stopping.is_set():
            self.seen.tried += 1
            try:
                answer = requests.post(self.url + path, data=data, headers=headers, timeout=20)
            except requests.RequestException:
                time.sleep(0.02)
                continue
            if answer.status_code in (200, 201):
                found: dict[str, Any] = answer.json()
                return found
            if answer.status_code != 503:
                self.surprises.append(f"{answer.status_code} {answer.text}")
                return None
            time.sleep(0.05)
        return None


def hold_to(database: Database, seen: Acknowledged) -> dict[str, int]:
    """Assert that everything acknowledged is there once, and nothing half; return how much.

    A case is whole when its steps count from 1 to its version and there is one step for each
    finding that it has.
    """
    with database.reading() as session:
        query = select(CaseRow).options(selectinload(CaseRow.findings), selectinload(CaseRow.steps))
        cases = {case.number: case for case in session.scalars(query)}
        assert session.scalar(select(StepRow.id).where(StepRow.diagnosis.is_(None))) is None
    missing = set(seen.cases) - set(cases)
    assert not missing
    for number, notes in seen.cases.items():
        found = [finding.body["note"] for finding in cases[number].findings]
        assert len(found) == len(set(found)), "a finding came in twice"
        assert notes <= set(found)
    for case in cases.values():
        assert [step.version for step in case.steps] == list(range(1, case.version + 1))
        assert len(case.steps) == 1 + len(case.findings)
        assert [one.place for one in case.findings] == list(range(1, len(case.findings) + 1))
    return {"cases": len(cases), "findings": sum(len(case.findings) for case in cases.values())}
