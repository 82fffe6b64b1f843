"""The phone desk at ``/desk``: pages for the person with a caller on the line.

It keeps no knowledge of its own: what is asked, in which words and order, comes from
``api.interview``; cases are kept by ``api.cases``; the engine answers.
"""

from api.desk import answering, hearing, home, lifecycle, machine, recording, sums
from api.desk.blueprint import blueprint

PAGES = (home, machine, answering, hearing, lifecycle, recording, sums)  # each is on the blueprint

__all__ = ["PAGES", "blueprint"]
