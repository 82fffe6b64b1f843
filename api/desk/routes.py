"""The desk as one of the resources: its blueprint, once all of its pages are on it."""

from typing import Any

from api.desk import answering, hearing, home, lifecycle, machine, pages, recording, sums
from api.desk.blueprint import blueprint

# Pages for people: the description is for programs, which have /v1 for all of this.
OPERATIONS: dict[tuple[str, str], dict[str, Any]] = {}

blueprint.record_once(pages.set_up)
PAGES = (home, machine, answering, hearing, lifecycle, recording, sums)

__all__ = ["OPERATIONS", "PAGES", "blueprint"]
