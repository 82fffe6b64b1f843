"""The bench sums: pure functions from a knowledge base and inputs to a document, for every door.

``compute`` works one, ``listed`` tells what they take, ``api.sums.plot.svg`` draws the curve of a
document.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from api.strict_json import Json
from api.sums.current import WINDING_CURRENT
from api.sums.entries import read
from api.sums.feed import FEED_DROP
from api.sums.fuse import FUSE_OPENING
from api.sums.margin import PULL_IN_MARGIN
from api.sums.model import Sum, SumAnswer, SumsList, Worked, neat
from api.sums.pins import WHICH_PIN
from api.sums.pull_time import PULL_ON_TIME
from api.sums.verdict import METER_VERDICT
from engine import Knowledge
from engine.knowledge import items
from engine.rules.cautions import Cautions
from engine.rules.views import CaseView

__all__ = ["MANUAL", "SUMS", "compute", "listed", "step_cautions"]

SUMS: Mapping[str, Sum[Any]] = {
    one.id: one
    for one in (
        WINDING_CURRENT, FEED_DROP, FUSE_OPENING, PULL_ON_TIME, PULL_IN_MARGIN, WHICH_PIN,
        METER_VERDICT,
    )
}  # fmt: skip

MANUAL = "The machine maker's manual wins over this sum wherever the two differ."


def compute(knowledge: Knowledge, name: str, raw: object) -> Json:
    """Return the SumAnswer of the sum ``name`` to the inputs ``raw``, ready to be written as JSON.

    Raises KeyError for a name that is not in ``SUMS``, and engine.RequestError that carries every
    fault of the inputs (``path`` is the field, empty for the whole).
    """
    sum_ = SUMS[name]
    given = read(sum_.schema, raw)
    found = sum_.work(knowledge, sum_.inputs(**given))
    inputs = {key: value for key, value in given.items() if value is not None}
    cautions = (*found.cautions, *_cautions(knowledge, sum_), MANUAL)
    worked: Worked = neat(replace(found, cautions=cautions))
    return SumAnswer(knowledge.version, sum_.id, sum_.title, inputs, worked).to_dict()


def _cautions(knowledge: Knowledge, sum_: Sum[Any]) -> list[str]:
    """Return the knowledge base's cautions for the sum, each once."""
    rules = [knowledge.rules[name] for name in sum_.rules if name in knowledge.rules]
    standing = (f"{one.title}. {one.because.points} {one.because.next}" for one in rules)
    return [*step_cautions(knowledge, sum_.hazards), *standing]


def step_cautions(knowledge: Knowledge, hazards: frozenset[str]) -> list[str]:
    """Return the knowledge base's cautions for a step's hazards, on whichever duty, each once."""
    book = Cautions(knowledge)
    said = dict.fromkeys(
        text for duty in items.DUTIES for text in book.for_step(hazards, CaseView({"duty": duty}))
    )
    return list(said)


def listed(knowledge: Knowledge) -> SumsList:
    """Return what every sum takes, in the order of ``SUMS``."""
    return SumsList(knowledge.version, len(SUMS), tuple(SUMS.values()))
