"""The bench sums: pure functions from a knowledge base and inputs to a document, for every door.

``compute`` works one, ``listed`` tells what they take, ``api.sums.plot.svg`` draws the curve of a
document.
"""

from collections.abc import Collection, Mapping
from importlib import resources
from typing import Any

from api.strict_json import Json
from api.sums import meters, supply, windings
from api.sums.model import Sum, SumAnswer, SumsList, neat
from engine import Knowledge
from engine.knowledge import items
from engine.knowledge.text import load_yaml
from engine.rules.cautions import Cautions
from engine.rules.views import CaseView

__all__ = ["MANUAL", "SUMS", "compute", "listed", "step_cautions"]

MANUAL = "The machine maker's manual wins over this sum wherever the two differ."
_WORKED_BY: Mapping[str, Any] = {
    "winding-current": (windings.WindingCurrent, windings.winding_current),
    "feed-drop": (supply.FeedDrop, supply.feed_drop),
    "fuse-opening": (supply.FuseOpening, supply.fuse_opening),
    "pull-on-time": (windings.PullOnTime, windings.pull_on_time),
    "pull-in-margin": (windings.PullInMargin, windings.pull_in_margin),
    "which-pin": (meters.WhichPin, meters.which_pin),
    "meter-verdict": (meters.MeterVerdict, meters.meter_verdict),
}


def _sums() -> Mapping[str, Sum]:
    """Return the sums with their words."""
    text = resources.files("api.sums").joinpath("sums.yaml").read_text(encoding="utf-8")
    words: Any = load_yaml(text, "sums.yaml")
    return {name: Sum(name, *_WORKED_BY[name], **said) for name, said in words.items()}


SUMS = _sums()


def compute(knowledge: Knowledge, name: str, raw: object) -> Json:
    """Return the SumAnswer of the sum ``name`` to the inputs ``raw``, ready to be written as JSON.

    Raises KeyError for a name that is not in ``SUMS``, and engine.RequestError that carries every
    fault of the inputs (``path`` is the field, empty for the whole).
    """
    sum_ = SUMS[name]
    given = sum_.read(raw)
    found = sum_.work(knowledge, sum_.inputs(**given))
    rules = [knowledge.rules[name] for name in sum_.rules if name in knowledge.rules]
    standing = [f"{one.title}. {one.because.points} {one.because.next}" for one in rules]
    dangers = step_cautions(knowledge, sum_.hazards)
    return SumAnswer(
        knowledge.version, sum_.id, sum_.title,
        inputs={key: value for key, value in given.items() if value is not None},
        says=found.says, figures=neat(found.figures), formula=sum_.formula,
        source=sum_.source.format(**found.said),
        assumptions=(*found.assumptions, *(one.format(**found.said) for one in sum_.assumptions)),
        cautions=(*sum_.cautions, *found.cautions, *dangers, *standing, MANUAL),
        curve=neat(found.curve),
    ).to_dict()  # fmt: skip


def step_cautions(knowledge: Knowledge, hazards: Collection[str]) -> list[str]:
    """Return the knowledge base's cautions for a step's hazards, on whichever duty, each once."""
    book, dangers = Cautions(knowledge), frozenset(hazards)
    said = (book.for_step(dangers, CaseView({"duty": duty})) for duty in items.DUTIES)
    return list(dict.fromkeys(text for texts in said for text in texts))


def listed(knowledge: Knowledge) -> SumsList:
    """Return what every sum takes, in the order of ``SUMS``."""
    return SumsList(knowledge.version, len(SUMS), tuple(SUMS.values()))
