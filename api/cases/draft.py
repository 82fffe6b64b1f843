"""A case as plain data, free of any session: what edits work on and the engine is asked with."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from api.cases.texts import TEXTS
from api.store.models import Case

OPEN, CLOSED = "open", "closed"
SETTINGS = ("on_hand", "excluded", "limit")


@dataclass(frozen=True)
class Withdrawal:
    """Who withdrew a finding, when and why."""

    by: str
    at: datetime
    because: str


@dataclass(frozen=True)
class Kept:
    """One finding of a case; ``body`` is as the engine's request has it."""

    place: int
    body: Mapping[str, Any]
    by: str
    at: datetime
    withdrawn: Withdrawal | None = None


@dataclass(frozen=True)
class Draft:
    """A case at one version, or as the next version will be."""

    number: str
    version: int
    state: str
    opened_at: datetime
    opened_by: str
    changed_at: datetime
    machine: Mapping[str, Any]
    settings: Mapping[str, Any] = field(default_factory=dict)
    texts: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[Kept, ...] = ()
    outcome: Mapping[str, Any] | None = None
    leading: Mapping[str, Any] | None = None

    @property
    def counted(self) -> tuple[Kept, ...]:
        """Return the findings that were not withdrawn."""
        return tuple(one for one in self.findings if one.withdrawn is None)

    def request(self) -> dict[str, Any]:
        """Return the request that the engine is asked with."""
        return {
            "machine": dict(self.machine),
            "findings": [dict(one.body) for one in self.counted],
            **self.settings,
        }

    def without(self, places: set[int]) -> "Draft":
        """Return the case without the findings at these places."""
        return replace(self, findings=tuple(f for f in self.findings if f.place not in places))


def from_row(row: Case, whole: bool = True) -> Draft:
    """Return a case as it stands in the store; without its findings where it is not ``whole``."""
    return Draft(
        number=row.number, version=row.version, state=row.state, opened_at=row.opened_at,
        opened_by=row.opened_by, changed_at=row.changed_at, machine=row.machine,
        settings=row.settings, texts={name: getattr(row, name) for name in TEXTS},
        findings=tuple(
            Kept(
                one.place, one.body, one.by, one.at,
                None if one.withdrawn_at is None else Withdrawal(
                    one.withdrawn_by or "", one.withdrawn_at, one.withdrawn_because or ""
                ),
            )
            for one in (row.findings if whole else ())
        ),
        outcome=row.outcome, leading=row.leading,
    )  # fmt: skip
