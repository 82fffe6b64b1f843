"""Whether an answer is safe: every step with the cautions that its hazards demand."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from tests.proving.data import circuit, kb, own


def faults(
    answer: Mapping[str, Any], told: Mapping[str, Any], findings: Sequence[Mapping[str, Any]]
) -> list[str]:
    """Return what is unsafe in an answer, in words; empty when nothing is."""
    found = [fault for name, item, step in _steps(answer, told) for fault in _of_step(
        name, item, step, told)]  # fmt: skip
    whole = " ".join(str(one["text"]) for one in answer["cautions"])
    if not re.search(own("safety")["always"], whole, re.IGNORECASE):
        found.append("the answer does not defer to the manual")
    for rule in own("safety")["answers"]:
        met = any(f["check"] == rule["check"] and f.get("outcome") == rule["outcome"]
                  for f in findings)  # fmt: skip
        if met and not re.search(rule["says"], whole, re.IGNORECASE):
            found.append(f"{rule['outcome']} without its caution")
    return found


def _steps(
    answer: Mapping[str, Any], told: Mapping[str, Any]
) -> Iterator[tuple[str, Mapping[str, Any], set[str]]]:
    """Yield each proposed check and each remedy with the hazards that it carries."""
    brings = circuit(told["duty"], told["control"])["brings"]
    for one in answer["next_checks"]:
        check = kb("checks")[one["check"]]
        hazards = set(check["hazards"])
        predicted = check["predicted_by"]
        if predicted.get("quantity") not in (None, "resistance"):
            hazards |= set(brings.get(predicted["phase"], ()))
        if check.get("commanded"):
            hazards |= set(brings.get("on-command", ()))
        yield one["check"], one, hazards
    for one in answer["causes"]:
        hazards = set(kb("causes")[one["id"]]["hazards"])
        if "energises" in hazards:
            hazards |= set(brings.get("on-command", ()))
        yield one["id"], one, hazards


def _of_step(
    name: str, item: Mapping[str, Any], hazards: set[str], told: Mapping[str, Any]
) -> list[str]:
    rules = own("safety")
    cautions = " ".join(item["cautions"])
    wanted = {hazard: rules["steps"][hazard] for hazard in sorted(hazards)}
    brake = told["duty"] == "brake-release"
    wanted.pop("opens-fuel" if brake else "releases-brake", None)  # it has no such thing
    if hazards and brake:
        wanted["brake machine"] = rules["brake_machine"]
    found = [
        f"{name}: nothing said about {hazard}"
        for hazard, pattern in wanted.items()
        if not re.search(pattern, cautions, re.IGNORECASE)
    ]
    texts = [str(item.get(key, "")) for key in ("how", "say", "remedy", "proof_of_repair")]
    sentences = re.split(r"(?<=[.;:?!])\s+", " ".join([*texts, cautions]))
    for bad, unless in rules["never"]:
        found += [
            f"{name}: {sentence}" for sentence in sentences
            if re.search(bad, sentence, re.IGNORECASE)
            and not re.search(unless, sentence, re.IGNORECASE)
        ]  # fmt: skip
    return found
