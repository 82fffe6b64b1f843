"""Random facts for rules, as plain data that neither rule engine made.

A case is what rules can see: machine fields, findings with verdicts and attributes, beliefs, the
hazards of a step. Half of the cases are drawn blindly; in the others one rule's conditions are met
on purpose (its own words read for that), so that deep rules fire too.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from engine import Knowledge
from engine.knowledge import items
from engine.knowledge.items import Rule
from tests.reference import draws
from tests.reference.clips_export import walk

ATTRIBUTES = (
    "measured_to", "plug", "moment", "side", "lead_ohms", "celsius", "meter", "while",
)  # fmt: skip


@dataclass
class Case:
    """What the rules see."""

    machine: dict[str, Any]
    findings: list[dict[str, Any]] = field(default_factory=list)
    beliefs: dict[str, float] = field(default_factory=dict)
    hazards: set[str] = field(default_factory=set)


class Drawer:
    """Draws cases from the words and the limits that the knowledge base uses."""

    def __init__(self, knowledge: Knowledge, seed: int) -> None:
        self.rng = draws.generator(seed)
        self._knowledge = knowledge
        self._tags = sorted(knowledge.rows("circumstances"))
        self._limits: dict[str, set[float]] = {}
        self._levels: dict[str, set[float]] = {}
        self._makers: dict[str, list[Rule]] = {}
        for rule in knowledge.rules.values():
            for raw, _ in walk(rule.when):
                self._note(raw)
            for action in rule.then:
                named = action.get("conclude", [])
                for fact in [named] if isinstance(named, str) else named:
                    self._makers.setdefault(fact, []).append(rule)

    def _note(self, raw: Mapping[str, Any]) -> None:
        for check in _listed(raw, "check", "checks"):
            limits = self._limits.setdefault(check, set())
            for key in ("above", "below"):
                limits.update([float(raw[key])] if key in raw else [])
            for key in ("above_share", "below_share"):
                volts = items.SYSTEM_VOLTS if key in raw else ()
                limits.update(raw[key] * one for one in volts)
        if "cause" in raw:
            self._levels.setdefault(raw["cause"], set()).add(float(raw["at_least"]))

    def blind(self) -> Case:
        """Draw a case without looking at any rule's conditions as a whole."""
        rng = self.rng
        checks = rng.choices(sorted(self._knowledge.checks), k=rng.randrange(2, 14))
        causes = rng.sample(sorted(self._knowledge.causes), rng.randrange(0, 12))
        return Case(
            self._machine(),
            [self._finding(check) for check in checks],
            {cause: self._level(cause) for cause in causes},
            set(rng.sample(items.HAZARDS, rng.randrange(0, 5))),
        )

    def meeting(self, rule: Rule) -> Case:
        """Draw a case in which a rule's conditions were met one by one, and a little besides."""
        case = Case(self._machine())
        for raw in rule.when:
            self._meet(raw, case, depth=0)
        for check in self.rng.choices(sorted(self._knowledge.checks), k=self.rng.randrange(0, 4)):
            case.findings.append(self._finding(check))
        return case

    def _machine(self) -> dict[str, Any]:
        rng = self.rng
        drawn = {
            "duty": rng.choice(items.DUTIES),
            "control": rng.choice([*items.CONTROLS, "unknown"]),
            "coil": rng.choice([*items.COILS, "unknown"]),
            "fuel_actuation": rng.choice([None, *items.ACTUATIONS]),
            "fuse_amps": rng.choice([None, 15.0, 30.0, 40.0, 60.0]),
            "pull_ohms": rng.choice([None, 0.33]),
            "hold_ohms": rng.choice([None, 24.0]),
            "ambient_celsius": rng.choice([None, -5.0, -18.0, 0.0, 20.0, 60.0, 75.0]),
            "solenoids": rng.choice([None, 1, 2]),
        }
        given = {name: value for name, value in drawn.items() if value is not None}
        return {"system_volts": rng.choice(items.SYSTEM_VOLTS), **given}

    def _finding(self, check: str) -> dict[str, Any]:
        rng, known = self.rng, self._knowledge.checks[check]
        found: dict[str, Any] = {"check": check}
        if rng.random() < 0.05:
            found["outcome"] = "not-known"
        elif known.outcomes is not None:
            found["outcome"] = rng.choice(known.outcomes.names)
        else:
            assert known.reading is not None
            found |= self._reading(check, known.reading)
        return found | self._attributes()

    def _reading(self, check: str, reading: items.Reading) -> dict[str, Any]:
        rng = self.rng
        if reading.unit == "ohm" and rng.random() < 0.2:
            return {"outcome": "open", "verdict": rng.choice(["open", "good"])}
        limits = sorted(self._limits.get(check, ()))
        value = rng.uniform(reading.low, min(reading.high, 1000.0))
        if limits and rng.random() < 0.8:  # on a limit, and either side of it
            value = rng.choice(limits) * rng.choice([0.3, 0.9, 1.0, 1.1, 2.0])
        return {"value": value, "verdict": rng.choice(["good", "low", "high", "cannot-say"])}

    def _attributes(self) -> dict[str, Any]:
        rng = self.rng
        drawn: dict[str, Any] = {
            "measured_to": rng.choice(["ground-pin", "body"]),
            "plug": rng.choice(["fitted", "removed"]),
            "moment": rng.choice(items.MOMENTS),
            "side": rng.choice(["left", "right"]),
            "lead_ohms": rng.choice([0.0, 0.3, 1.0, 1.5]),
            "celsius": rng.choice([-10.0, 20.0, 40.0, 60.0, 90.0, 160.0, 200.0]),
            "meter": "given",
            "while": rng.choice(items.PROVOKED),
            "circumstances": tuple(rng.sample(self._tags, rng.randrange(1, 4))),
        }
        return {name: value for name, value in drawn.items() if rng.random() < 0.3}

    def _level(self, cause: str) -> float:
        at = self.rng.choice([*sorted(self._levels.get(cause, ())), 0.02, 0.4])
        return min(self.rng.choice([at, at * 0.99, at * 1.01, self.rng.random()]), 1.0)

    def _meet(self, raw: Mapping[str, Any], case: Case, depth: int) -> None:
        """Change the case so that a condition holds, as far as that is in one condition's power."""
        if "any" in raw:
            self._meet(self.rng.choice(raw["any"]), case, depth)
        elif "all" in raw:
            for member in raw["all"]:
                self._meet(member, case, depth)
        elif "machine" in raw:
            case.machine[raw["machine"]] = self._chosen(raw, "is", "in")
        elif "cause" in raw:
            case.beliefs[raw["cause"]] = float(raw["at_least"])
        elif "step" in raw:
            case.hazards.add(raw["step"])
        elif "concluded" in raw and depth < 6:
            maker = self.rng.choice(self._makers[raw["concluded"]])
            for member in maker.when:
                self._meet(member, case, depth + 1)
        elif ("check" in raw or "checks" in raw) and raw.get("given") is not False:
            case.findings.append(self._met_finding(raw, case.machine["system_volts"]))

    def _chosen(self, raw: Mapping[str, Any], one: str, many: str) -> Any:
        """Return a value that a condition allows."""
        if one in raw or many in raw:
            return self.rng.choice(_listed(raw, one, many))
        low, high = raw.get("above"), raw.get("below")
        if low is not None and high is not None:
            return (low + high) / 2
        return low + 1.0 if low is not None else high - 1.0

    def _met_finding(self, raw: Mapping[str, Any], volts: int) -> dict[str, Any]:
        check = self.rng.choice(_listed(raw, "check", "checks"))
        found = {k: v for k, v in self._finding(check).items() if k not in (*ATTRIBUTES,
                 "circumstances")}  # fmt: skip
        if found["outcome"] == "not-known" if "outcome" in found else False:
            found = self._met_blank(check)
        if "outcome" in raw or "in" in raw:
            found["outcome"] = self._chosen(raw, "outcome", "in")
            found.pop("value", None)
        if "reads" in raw or "reads_in" in raw:
            found["verdict"] = self._chosen(raw, "reads", "reads_in")
        limits = {k: float(raw[k]) for k in ("above", "below") if k in raw}
        limits |= {k[:5]: raw[k] * volts for k in ("above_share", "below_share") if k in raw}
        if limits:
            found.pop("outcome", None)
            found["value"] = self._between(limits)
        return found | self._met_attributes(raw.get("with", {}))

    def _met_blank(self, check: str) -> dict[str, Any]:
        outcomes = self._knowledge.checks[check].outcomes
        if outcomes is not None:
            return {"check": check, "outcome": outcomes.names[0]}
        return {"check": check, "value": 1.0, "verdict": "good"}

    def _between(self, limits: Mapping[str, float]) -> float:
        low, high = limits.get("above"), limits.get("below")
        if low is not None and high is not None:
            return (low + high) / 2
        if low is not None:
            return low + abs(low) * 0.05 + 1e-3
        assert high is not None
        return high - abs(high) * 0.05 - 1e-6

    def _met_attributes(self, wanted: Mapping[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for name, value in wanted.items():
            words = str(value).split()
            if value == "missing":
                continue
            if value == "given":
                found[name] = self._given(name)
            elif words[0] in ("above", "below"):
                found[name] = self._between({words[0]: float(words[1])})
            else:
                found[name] = (value,) if name == "circumstances" else value
        return found

    def _given(self, name: str) -> Any:
        while True:
            drawn = self._attributes()
            if name in drawn:
                return drawn[name]


def _listed(raw: Mapping[str, Any], one: str, many: str) -> Sequence[Any]:
    if one in raw:
        return [raw[one]] if not isinstance(raw[one], list) else raw[one]
    return list(raw.get(many, ()))
