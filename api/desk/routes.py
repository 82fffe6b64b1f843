"""The desk as one of the resources: its blueprint, once all of its pages are on it."""

from api.desk import answering, hearing, home, lifecycle, machine, pages, recording, sums
from api.desk.blueprint import blueprint

blueprint.record_once(pages.set_up)
PAGES = (home, machine, answering, hearing, lifecycle, recording, sums)

__all__ = ["PAGES", "blueprint"]
