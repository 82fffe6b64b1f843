"""Why a case could not be read or written; the messages are for people."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from api.cases.case import Case, CaseStep


class CaseError(Exception):
    """Base of what the case book refuses."""


class NoSuchCase(CaseError):  # noqa: N818 - said as a person says it
    """No case has this number; ``slip`` when its check digit shows a digit misheard or swapped."""

    def __init__(self, message: str, slip: bool = False, nearest: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.slip = slip
        self.nearest = list(nearest)


class NoSuchFinding(CaseError):  # noqa: N818
    """The case has no finding at this place."""


class NoSuchPhoto(NoSuchFinding):
    """The case has no photo of this name."""


class ClosedCase(CaseError):  # noqa: N818
    """The case is closed; it takes nothing until it is reopened."""


class OpenCase(CaseError):  # noqa: N818
    """The case is open; only a closed one can be reopened."""


class StaleCase(CaseError):  # noqa: N818
    """Somebody else changed the case since the version that the caller had seen.

    ``current`` is the case as it is now, ``changes`` are the steps since the version seen;
    ``because`` is what is said where no version was named.
    """

    def __init__(
        self, current: "Case", changes: "Sequence[CaseStep]", because: str | None = None
    ) -> None:
        told = " ".join(step.words for step in changes[-3:])
        super().__init__(because or f"The case has changed meanwhile. {told}".strip())
        self.current = current
        self.changes = list(changes)
