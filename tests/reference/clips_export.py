"""Translates kb/rules into CLIPS, an independent rule engine (pip package clipspy).

Read from the rule files' own words (DEVELOPERS.md, "Rule"), not from the engine's reading of them.
A finding, a machine field, a belief and a step's hazard are each a fact. A rule of the base
becomes one defrule; each of its set_aside and weaken actions becomes one more.

A fact ``stage`` opens the stages one after the other: qualify (scope, traps, context); discount
(what was set aside or weakened); mark (findings that no longer count in full); prove (proofs, on
findings that do); conclude (chains, cautions).
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import count, pairwise
from typing import Any

from engine.knowledge.items import Rule

Raw = Mapping[str, Any]

TEMPLATES = """
(deftemplate machine (slot field) (slot value))
(deftemplate finding (slot index) (slot check) (slot outcome) (slot value) (slot verdict)
  (slot measured_to) (slot plug) (slot moment) (slot side) (slot lead_ohms) (slot celsius)
  (slot meter) (slot while) (slot circumstances) (slot full (default yes)) TAGS)
(deftemplate belief (slot cause) (slot level))
(deftemplate step (slot hazard))
(deftemplate concluded (slot fact))
(deftemplate fired (slot rule))
(deftemplate discount (slot rule) (slot finding) (slot keep))
(deftemplate spare (slot rule) (slot finding))
(deftemplate stage (slot name))
(deffacts start (stage (name qualify)))
"""
MARK = """(defrule mark
  (stage (name mark))
  (discount (finding ?index))
  ?finding <- (finding (index ?index) (full yes))
  =>
  (modify ?finding (full no)))"""
STAGES = ("qualify", "discount", "mark", "prove", "conclude")
STAGE_OF = {
    "scope": "qualify", "traps": "qualify", "context": "qualify", "proofs": "prove",
    "chains": "conclude", "cautions": "conclude",
}  # fmt: skip
VOLTS = "(machine (field system_volts) (value ?volts))"
LAST = -9000


class Patterns:
    """Writes conditions as CLIPS patterns; every variable has a name of its own.

    ``every`` is a slot that every pattern of a finding carries.
    """

    def __init__(self, every: str = "") -> None:
        self._numbers = count()
        self._every = every

    def holds(self, raw: Raw) -> str:
        """Return the pattern that stands when the condition holds."""
        for kind in ("any", "all", "none"):
            if kind in raw:
                return self._group(kind, raw[kind])
        if raw.get("given") is False:
            return f"(not {self.finding(raw, _checks(raw))})"
        if "not_concluded" in raw:
            return f"(not (concluded (fact {raw['not_concluded']})))"
        return self._fact(raw)

    def fails(self, raw: Raw) -> str:
        """Return the pattern that stands when the condition does not hold."""
        if "any" in raw or "all" in raw:
            kind = "and" if "any" in raw else "or"
            return _join(kind, [self.fails(one) for one in raw.get("any", raw.get("all"))])
        if "none" in raw:
            return _join("or", [self.holds(one) for one in raw["none"]])
        if raw.get("given") is False:
            return self.finding(raw, _checks(raw))
        if "not_concluded" in raw:
            return f"(concluded (fact {raw['not_concluded']}))"
        return f"(not {self._fact(raw)})"

    def _group(self, kind: str, members: Sequence[Raw]) -> str:
        if kind == "none":
            return _join("and", [self.fails(one) for one in members])
        return _join("or" if kind == "any" else "and", [self.holds(one) for one in members])

    def _fact(self, raw: Raw) -> str:
        if "machine" in raw:
            value = self._value([self._among(_listed(raw, "is", "in")), *_limits(raw)])
            return f"(machine (field {raw['machine']}) (value {value}))"
        if "concluded" in raw:
            return f"(concluded (fact {raw['concluded']}))"
        if "cause" in raw:
            level = self._value([f"(>= @ {float(raw['at_least'])!r})"])
            return f"(belief (cause {raw['cause']}) (level {level}))"
        if "step" in raw:
            return f"(step (hazard {raw['step']}))"
        return self.finding(raw, _checks(raw))

    def finding(self, raw: Raw, checks: Sequence[str]) -> str:
        """Return the pattern of a finding of one of the checks that meets every test."""
        outcomes = _listed(raw, "outcome", "in")
        # asked and not known is no information, unless a rule is about just that
        slots = [self._every, f"(check {'|'.join(checks)})",
                 f"(outcome {'|'.join(outcomes) if outcomes else '~not-known'})"]  # fmt: skip
        verdicts = _listed(raw, "reads", "reads_in")
        if verdicts:
            slots.append(f"(verdict {'|'.join(verdicts)})")
        limits = [*_limits(raw), *_share_limits(raw)]
        if limits:
            slots.append(f"(value {self._value(limits)})")
        slots += [self._attribute(name, value) for name, value in raw.get("with", {}).items()]
        return f"(finding {' '.join(slot for slot in slots if slot)})"

    def _attribute(self, name: str, value: Any) -> str:
        if value in ("missing", "given"):
            return f"({name} {'nil' if value == 'missing' else '~nil'})"
        words = str(value).split()
        if words[0] in ("above", "below"):
            return f"({name} {self._value(_limits({words[0]: float(words[1])}))})"
        return f"({tag_slot(value)} yes)" if name == "circumstances" else f"({name} {value})"

    def _among(self, values: Sequence[Any]) -> str:
        tests = [f"(= @ {one})" if isinstance(one, (int, float)) else f"(eq @ {one})"
                 for one in values]  # fmt: skip
        return _join("or", tests) if tests else ""

    def _value(self, tests: Sequence[str]) -> str:
        """Return a field constraint; ``@`` in the tests stands for the field."""
        variable = f"?x{next(self._numbers)}"
        wanted = [test for test in tests if test]
        if any(sign in test for test in wanted for sign in ("(>", "(<", "(=")):
            wanted.insert(0, "(numberp @)")
        return f"{variable}&:{_join('and', wanted)}".replace("@", variable)


def tag_slot(tag: str) -> str:
    """Return the slot that says whether a finding carries a circumstance (multislots leak)."""
    return f"tag-{tag}"


def _join(kind: str, members: Sequence[str]) -> str:
    return members[0] if len(members) == 1 else f"({kind} {' '.join(members)})"


def _listed(raw: Raw, one: str, many: str) -> list[Any]:
    return [raw[one]] if one in raw else list(raw.get(many, ()))


def _checks(raw: Raw) -> list[str]:
    listed = raw["check"] if "check" in raw else raw["checks"]
    return [listed] if isinstance(listed, str) else list(listed)


def _limits(raw: Raw) -> list[str]:
    signs = {"above": ">", "below": "<"}
    return [f"({sign} @ {float(raw[key])!r})" for key, sign in signs.items() if key in raw]


def _share_limits(raw: Raw) -> list[str]:
    signs = {"above_share": ">", "below_share": "<"}
    return [
        f"({sign} @ (* {float(raw[key])!r} ?volts))" for key, sign in signs.items() if key in raw
    ]


def walk(conditions: Sequence[Raw], wanted: bool = True) -> Iterator[tuple[Raw, bool]]:
    """Yield every condition that is no group, and whether it must hold or must fail."""
    for raw in conditions:
        kind = next((kind for kind in ("any", "all", "none") if kind in raw), None)
        if kind:
            yield from walk(raw[kind], wanted != (kind == "none"))
        else:
            yield raw, wanted


def _concluded(rule: Rule) -> list[str]:
    facts: list[str] = []
    for action in rule.then:
        named = action.get("conclude", [])
        facts += [named] if isinstance(named, str) else named
    return facts


def strata(rules: Mapping[str, Rule]) -> dict[str, int]:
    """Return a stratum for each rule: after all of its stage that may conclude what it denies."""
    found = dict.fromkeys(rules, 0)
    makers: dict[tuple[str, str], list[str]] = {}
    for name, rule in rules.items():
        for fact in _concluded(rule):
            makers.setdefault((STAGE_OF[rule.family], fact), []).append(name)
    for _ in rules:
        before = dict(found)
        for name, rule in rules.items():
            for raw, wanted in walk(rule.when):
                fact = raw.get("concluded", raw.get("not_concluded"))
                later = ("concluded" in raw) != wanted
                made = makers.get((STAGE_OF[rule.family], fact), ()) if fact else ()
                found[name] = max([found[name], *(found[maker] + later for maker in made)])
        if found == before:
            return found
    raise ValueError("a rule denies what its own conclusions bring about")


def _stages() -> Iterator[str]:
    """Yield the rules that end each stage, when nothing of it is left to do, and open the next."""
    for before, after in pairwise(STAGES):
        yield _defrule(
            f"end-of-{before}", LAST, [f"?stage <- (stage (name {before}))"],
            ["(retract ?stage)", f"(assert (stage (name {after})))"],
        )  # fmt: skip


def _defrule(name: str, salience: int, left: Sequence[str], right: Sequence[str]) -> str:
    return (
        f"(defrule {name} (declare (salience {salience}))\n  "
        + "\n  ".join(left) + "\n  =>\n  " + "\n  ".join(right) + ")"
    )  # fmt: skip


def _discounts(rule: Rule) -> Iterator[str]:
    """Yield a defrule for each check that the rule sets aside or weakens, and each test of it.

    A check that the rule itself does not test is hit whole. A ``spare`` fact keeps a finding
    from a rule (see rule_runs.Clips.run).
    """
    number = count()
    for action in rule.then:
        kind = next((kind for kind in ("set_aside", "weaken") if kind in action), None)
        named = action.get(kind, []) if kind else []
        keep = float(action.get("keep", 0.0))
        for check in [named] if isinstance(named, str) else named:
            tests = [raw for raw, wanted in walk(rule.when)
                     if wanted and raw.get("given") is not False and {"check", "checks"} & set(raw)
                     and check in _checks(raw)]  # fmt: skip
            for raw in tests or [{}]:
                pattern = Patterns("(index ?index)").finding(raw, [check])
                yield _defrule(
                    f"{rule.id}--discount-{next(number)}", 0,
                    ["(stage (name discount))", f"(fired (rule {rule.id}))", VOLTS, pattern,
                     f"(not (spare (rule {rule.id}) (finding ?index)))"],
                    [f"(assert (discount (rule {rule.id}) (finding ?index) (keep {keep!r})))"],
                )  # fmt: skip


def constructs(rules: Mapping[str, Rule], tags: Iterable[str]) -> list[str]:
    """Return every CLIPS construct that stands for the rules, templates first.

    ``tags`` are the circumstances that a finding can carry.
    """
    slots = " ".join(f"(slot {tag_slot(tag)})" for tag in tags)
    found = TEMPLATES.strip().replace("TAGS", slots).replace("\n(", "\n\n(").split("\n\n")
    found += [MARK, *_stages()]
    stratum = strata(rules)
    for name, rule in rules.items():
        stage = STAGE_OF[rule.family]
        patterns = Patterns("(full yes)" if stage == "prove" else "")
        left = [f"(stage (name {stage}))"]
        left += [VOLTS] if "_share" in json.dumps(list(rule.when)) else []
        left += [patterns.holds(raw) for raw in rule.when]
        right = [f"(assert (fired (rule {name})))"]
        right += [f"(assert (concluded (fact {fact})))" for fact in _concluded(rule)]
        found.append(_defrule(name, -stratum[name], left, right))
        found += _discounts(rule)
    return found
