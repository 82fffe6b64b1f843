"""From checked shapes to items: lays the base under each circuit, sorts out readings and trees."""

import dataclasses
from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError

from engine.knowledge import items, shapes
from engine.knowledge.faults import Fault, unknown
from engine.knowledge.files import Source

Shaped = Mapping[str, tuple[Source, dict[str, Any], dict[str, Any]]]
_MEASURED = shapes.MeasuredSchema()
_EXPECTED = shapes.ExpectedSchema()


def cause(file: str, raw: dict[str, Any], data: dict[str, Any]) -> items.Cause:
    """Build a cause from its shaped data."""
    plain = {k: data[k] for k in ("id", "name", "section", "share", "minutes", "looks_like",
                                  "remedy", "proof_of_repair")}  # fmt: skip
    return items.Cause(
        **plain,
        raw=raw,
        file=file,
        applies=alternatives(data),
        states=tuple(data["states"]),
        confirmed_by=tuple(data["confirmed_by"]),
        hazards=tuple(data["hazards"]),
    )


def alternatives(data: Mapping[str, Any]) -> tuple[Mapping[str, Any], ...]:
    """Return the list of alternatives that ``applies`` or ``applies_any`` stands for."""
    return tuple(data["applies_any"]) if "applies_any" in data else (data["applies"],)


def rule(file: str, raw: dict[str, Any], data: dict[str, Any]) -> items.Rule:
    """Build a rule from its shaped data."""
    return items.Rule(
        id=data["id"], raw=raw, file=file, family=data["family"], title=data["title"],
        when=tuple(data["when"]), then=tuple(data["then"]), because=data["because"],
        source=data["source"],
    )  # fmt: skip


def table(file: str, raw: dict[str, Any], data: dict[str, Any]) -> items.Table:
    """Build a table from its shaped data."""
    return items.Table(
        id=data["id"], raw=raw, file=file, title=data["title"], source=data["source"],
        rows=tuple(data["rows"]),
    )  # fmt: skip


def checks(shaped: Shaped, faults: list[Fault]) -> dict[str, items.Check]:
    """Build the checks; faults inside ``predicted_by`` go to ``faults``."""
    built = {}
    for stem, (source, raw, data) in shaped.items():
        is_outcome = "outcomes" in data["result"]
        try:
            predicted: Any = (_EXPECTED if is_outcome else _MEASURED).load(data["predicted_by"])
        except ValidationError as error:
            faults += [
                Fault(f"{source.name}: predicted_by.{fault.path}".rstrip("."), fault.message)
                for fault in shapes.flatten(error.messages)
            ]
            continue
        built[stem] = items.Check(
            id=data["id"], raw=raw, file=source.name, name=data["name"], kind=data["kind"],
            applies=alternatives(data), shared_between_sides=data["shared_between_sides"],
            minutes=data["minutes"], setup=data["setup"],
            reading=None if is_outcome else _reading(data, predicted),
            outcomes=_outcomes(data, predicted) if is_outcome else None,
            say=data["say"], how=data["how"], why=data["why"], hazards=tuple(data["hazards"]),
            commanded=data["commanded"],
        )  # fmt: skip
    return built


def _reading(data: Mapping[str, Any], predicted: Mapping[str, Any]) -> items.Reading:
    result = data["result"]
    return items.Reading(
        quantity=predicted["quantity"], unit=result["unit"], low=result["low"],
        high=result["high"], phase=predicted["phase"], plug_fitted=predicted["plug"] == "fitted",
        load=predicted["load"], from_node=predicted.get("from", {}),
        to_node=predicted.get("to", {}), part=predicted.get("part", ""),
        repeatability=data["repeatability"]["value"], instrument=data["instrument"],
    )  # fmt: skip


def _outcomes(data: Mapping[str, Any], predicted: Mapping[str, Any]) -> items.Outcomes:
    return items.Outcomes(
        names=tuple(data["result"]["outcomes"]), given=predicted.get("given", {}),
        tree=predicted["otherwise"], slip=data["slip"]["value"], words=data["outcome_words"],
    )  # fmt: skip


def circuits(shaped: Shaped, faults: list[Fault]) -> dict[str, items.Circuit]:
    """Lay each circuit over its base; the base itself is not among the result."""
    built = {}
    for stem, (source, raw, data) in shaped.items():
        if data["abstract"]:
            continue
        if data["base"] not in shaped:
            faults.append(Fault(f"{source.name}: base", unknown("circuit", data["base"], shaped)))
            continue
        base = shaped[data["base"]][2]
        if not base["abstract"]:
            faults.append(Fault(f"{source.name}: base", f"'{data['base']}' is not abstract"))
            continue
        built[stem] = _circuit(source.name, raw, data, base)
    return built


def _circuit(
    file: str, raw: dict[str, Any], data: Mapping[str, Any], base: Mapping[str, Any]
) -> items.Circuit:
    words = {k: data[k] for k in ("id", "name", "duty", "control", "command_words",
                                  "listen_words", "hold_words")}  # fmt: skip
    return items.Circuit(
        **words,
        raw=raw,
        file=file,
        nodes=tuple(dict.fromkeys([*base["nodes"], *data["nodes"]])),
        parts={part.id: part for part in [*base["parts"], *data["parts"]]},
        phases={phase.id: phase for phase in data["phases"]},
        brings={phase: tuple(hazards) for phase, hazards in data["brings"].items()},
        coils=base["coils"],
        fuse_amps={12: base["fuse_amps"]["at_12_v"], 24: base["fuse_amps"]["at_24_v"]},
        settings={setting.id: setting for setting in base["settings"]},
        plunger=base["plunger"],
    )


def with_parts(circuit: items.Circuit, coil: str) -> items.Circuit:
    """Return the circuit with the parts of a coil style laid in."""
    extra = {part.id: part for part in circuit.coils[coil].parts}
    return dataclasses.replace(circuit, parts={**circuit.parts, **extra})
