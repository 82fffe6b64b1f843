"""Numbers and bands in words, as a person would say them."""

from collections.abc import Sequence

from engine.knowledge import items
from engine.physics.circuit import Floats
from engine.reasoning.advice import Reason

TOOLS = {
    "ask": "to ask the operator", "look": "to look at it", "try": "to work its parts by hand",
    "lamp": "with a test lamp", "meter": "with a meter", "clamp": "with a DC clamp meter",
    "recorder": "with a recorder",
}  # fmt: skip
NEEDS = {
    "ask": "costs only a question", "look": "needs no tool", "try": "needs no meter",
    "lamp": "needs a test lamp", "meter": "needs a meter", "clamp": "needs a clamp meter",
    "recorder": "needs a recorder",
}  # fmt: skip


# behind the words of a step that is done while the fault is brought on
PROVOKING = {
    "shaken": " Do it while the harness is moved, clear of moving parts.",
    "heated": " Do it hot, as it fails, and do not touch the coil.",
    "wetted": " Do it while it is wet, as it fails.",
}


def reason(why: Reason, leader: str | None) -> str:
    """Return why a check is proposed, in one sentence without numbers."""
    if why.tells_two:
        says = "Tells two faults at once from one"
    elif leader is not None:
        says = f"Confirms or clears what leads ({leader.lower()})"
    elif why.splits >= 2:
        says = f"Splits the {'two' if why.splits == 2 else 'three'} likeliest causes"
    elif why.before_part:
        says = "Comes before any part is fitted"
    else:
        says = "Narrows down what is left"
    place = ", at a place that is open already" if why.reached else ""
    return f"{says} and {NEEDS[why.kind]}{place}."


def outcome_words(names: Sequence[str], chances: Floats, outcomes: items.Outcomes) -> str:
    """Return the outcomes that make up most of the chance, the likeliest first."""
    shares = chances.tolist()
    ranked = sorted(range(len(shares)), key=lambda n: (-round(shares[n], 9), n))
    said, total = [], 0.0
    for place in ranked:
        name = names[place]
        share = round(100 * shares[place], 9)  # not to turn on the last bit, as in percent
        said.append(f"'{outcomes.words.get(name, name)}' ({share:.0f} %)")
        total += shares[place]
        if total > 0.8 or len(said) == 2:
            break
    return " or ".join(said)


def percent(chance: float) -> str:
    """Return a probability in words."""
    if chance > 0.995:
        return "over 99 %"
    if chance < 0.005:
        return "under 1 %"
    # a share that ends on a half must not turn on the last bit, which the order of sums decides
    return f"{round(100 * chance, 9):.0f} %"


def listed(names: Sequence[str]) -> str:
    """Return names as a list in prose."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
