"""Cases: one machine, its complaint, what was found, the diagnosis at each point, and its end.

``Book`` is the one way to read and write them; the HTTP resources and the desk both go through it.
"""

from api.cases.book import Book
from api.cases.case import CaseError, ClosedCase, NoSuchCase, NoSuchFinding, OpenCase, StaleCase

__all__ = [
    "Book", "CaseError", "ClosedCase", "NoSuchCase", "NoSuchFinding", "OpenCase", "StaleCase",
]  # fmt: skip
