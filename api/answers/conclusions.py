"""What follows from an answer, in sentences that every door says alike."""

from collections.abc import Callable, Sequence

from api.answers.finding_words import named
from api.strict_json import Json
from api.translation import gettext
from engine import Knowledge
from engine.physics.model import NO_REPAIR


def cause_of(answer: Json, name: str) -> Json:
    """Return the entry of a cause; the most probable one where it is not in the answer."""
    causes: Sequence[Json] = answer["causes"]
    return next((one for one in causes if one["id"] == name), causes[0])


def further_checks(answer: Json) -> Sequence[Json]:
    """Return the best checks as if everything were at hand."""
    found: Sequence[Json] = answer.get("further_checks") or answer["next_checks"]
    return found


def behind(entry: Json, knowledge: Knowledge) -> list[str]:
    """Return what may have made a cause, one sentence a reason."""
    reasons: dict[str, list[str]] = {}
    for row in entry["look_behind"]:
        reasons.setdefault(row["because"], []).append(named(row["cause"], knowledge))
    return [f"{'; '.join(names)}. {because}" for because, names in reasons.items()]


def handing_back(answer: Json) -> list[str]:
    """Return the notes that rest on no one finding: before ordering, after the repair."""
    resting = {row["rule"] for row in answer["trace"] if row["findings"]}
    return [
        f"{one['found']} {one['points']} {one['next']}"
        for one in answer["notes"]
        if one["rule"] not in resting
    ]


def doubts(fit: Json, knowledge: Knowledge, finding: Callable[[int], str]) -> list[str]:
    """Return what does not fit: what to take again, or which two faults would explain it.

    ``finding`` names what the answer calls finding ``i``; empty where that cannot be named.
    """
    if fit["verdict"] == "good":
        return []
    strained = fit["verdict"] == "strained"
    found = [gettext("The findings do not fit well together.") if strained
             else gettext("The findings fit no single cause.")]  # fmt: skip
    again = [told for index in fit.get("repeat") or fit["disagreeing"] if (told := finding(index))]
    if again and not fit.get("pairs"):
        found.append(gettext("Take again first: %(findings)s.", findings="; ".join(again)))
    return found + [_pair(pair, knowledge) for pair in fit.get("pairs", ())[:2]]


def _pair(pair: Json, knowledge: Knowledge) -> str:
    one, other = (named(cause, knowledge) for cause in pair["causes"])
    both = gettext("Two faults at once fit better, %(chance)s: %(one)s and %(other)s.",
                   chance=hundredths(pair["probability"]), one=one, other=other)  # fmt: skip
    apart = pair.get("told_apart_by")
    if not apart:
        return both
    return f"{both} {gettext('Told apart by: %(check)s.', check=named(apart, knowledge))}"


def hundredths(probability: float) -> str:
    """Return a probability as a person says it: '41 in 100'."""
    return gettext("%(number)s in 100", number=in_100(probability))


def in_100(probability: float) -> str:
    """Return a probability as its number in a hundred alone: '8', 'under 1'."""
    shown = round(probability * 100)
    if 1 <= shown < 100:
        return str(shown)
    return gettext("under 1") if shown < 1 else gettext("over 99")


def is_cause(name: str) -> bool:
    """Return whether an entry is a fault of this circuit, and not health or something else."""
    return name not in NO_REPAIR
