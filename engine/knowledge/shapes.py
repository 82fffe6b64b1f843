"""Second layer of checking: the shape of each kind of file, as marshmallow schemas."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from marshmallow import Schema, ValidationError, fields, post_load, validate, validates_schema

from engine.knowledge import items
from engine.knowledge.faults import Fault, nearest, unknown

KEBAB = validate.Regexp(
    r"^[a-z0-9]+(-[a-z0-9]+)*$", error="write ids in lower case with single hyphens: 'like-this'"
)


class OneOf(validate.Validator):
    """Accept members of a closed set; name the nearest one otherwise."""

    def __init__(self, kind: str, known: Sequence[Any]) -> None:
        self.kind, self.known = kind, known

    def __call__(self, value: Any) -> Any:
        """Return the value; raises ValidationError for one that is not in the set."""
        if value not in self.known:
            raise ValidationError(unknown(self.kind, value, [str(item) for item in self.known]))
        return value


class StrictSchema(Schema):
    """A schema that names the nearest field, and all there are, for one that it does not know."""

    def handle_error(self, error: ValidationError, data: Any, **_: Any) -> None:
        """Put the nearest field, and all there are, behind the name of an unknown one."""
        messages = error.messages
        if isinstance(messages, dict):
            for name in set(messages) - set(self.fields) - {"_schema"}:
                known = f"; known here: {', '.join(self.fields)}"
                messages[name] = [
                    f"is not a field here{nearest(str(name)[:100], self.fields)}{known}"
                ]


class Text(fields.String):
    """Non-empty prose."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("validate", validate.Length(min=1, error="must not be empty"))
        super().__init__(**kwargs)

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        text = super()._deserialize(value, *args, **kwargs)
        return " ".join(text.split()) if isinstance(text, str) else text


class Number(fields.Float):
    """A finite number; text such as '5' is refused."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValidationError(f"must be a number, not {value!r:.40}")
        try:
            number = float(value)
        except OverflowError:
            raise ValidationError("is too large a number") from None
        if not math.isfinite(number):
            raise ValidationError("must be a finite number")
        return number


class Extent(fields.Field[tuple[float, float]]):
    """A number, or a range ``{from: a, to: b}``; read into a pair."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> tuple[float, float]:
        if isinstance(value, Mapping):
            if set(value) != {"from", "to"}:
                raise ValidationError("a range is written {from: a, to: b}")
            pair = (_number(value["from"]), _number(value["to"]))
            if min(pair) <= 0:
                raise ValidationError("a range runs between numbers above 0: it is spread in logs")
            return pair
        number = _number(value)
        return (number, number)


def _number(value: Any) -> float:
    """Read a number that is there; raises ValidationError."""
    number: Any = Number().deserialize(value)
    return float(number)


class Named(fields.Dict):
    """Names to values. A fault stands under its name, without marshmallow's levels in between."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        try:
            return super()._deserialize(value, *args, **kwargs)  # type: ignore[no-untyped-call]
        except ValidationError as error:
            if not isinstance(error.messages, Mapping):
                raise
            plain = {name: next(iter(inner.values())) for name, inner in error.messages.items()}
            raise ValidationError(plain) from None


class Ids(fields.List[str]):
    """A list of ids; whether they exist is for the cross-reference layer."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(fields.String(validate=KEBAB), **kwargs)


def members(kind: str, known: Sequence[Any], **kwargs: Any) -> fields.List[Any]:
    """Return a field for a list of members of a closed set."""
    inner: fields.Field[Any] = (
        fields.Integer(strict=True, validate=OneOf(kind, known))
        if known and isinstance(known[0], int)
        else fields.String(validate=OneOf(kind, known))
    )
    return fields.List(inner, **kwargs)


class AppliesSchema(Schema):
    """Where a cause or check applies: every field named must hold."""

    duty = members("duty", items.DUTIES)
    control = members("control", items.CONTROLS)
    coil = members("coil", items.COILS)
    system_volts = members("system_volts", items.SYSTEM_VOLTS)
    fuel_actuation = members("fuel_actuation", items.ACTUATIONS)


class NeedSchema(Schema):
    """See items.Need."""

    node = fields.String(required=True, validate=KEBAB)
    min_volts = Number(required=True)
    across = fields.String(validate=KEBAB)
    phases = members("phase", items.PHASES)

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.Need:
        data["phases"] = tuple(data.get("phases", items.PHASES))
        return items.Need(**data)


class PartSchema(Schema):
    """See items.Part."""

    id = fields.String(required=True, validate=KEBAB)
    kind = fields.String(
        required=True, validate=OneOf("kind", ("wire", "load", "source", "contact"))
    )
    between = fields.Tuple((fields.String(), fields.String()), required=True)
    ohms = Number(validate=validate.Range(min=1e-6, max=1e9))
    tolerance = Number(validate=validate.Range(min=0, max=2))
    unstated_tolerance = Number(validate=validate.Range(min=0, max=2))
    volts = Number()
    volts_tolerance = Number()
    switched = fields.Boolean()
    absent = fields.Boolean()
    at_plug = fields.Boolean()
    copper = fields.Boolean()
    blade_fuse = fields.Boolean()
    trips_at_amps = Number()
    needs = fields.List(fields.Nested(NeedSchema))
    operated_by = fields.Tuple((fields.String(), fields.String()))
    operate_volts = Number()
    release_volts = Number()
    source = Text(required=True)

    @validates_schema
    def _whole(self, data: dict[str, Any], **_: Any) -> None:
        if data.get("absent") is not True and "ohms" not in data:
            raise ValidationError("a part that is there has ohms", "ohms")
        if data.get("kind") == "contact" and "operated_by" not in data:
            raise ValidationError("a contact names the coil that works it", "operated_by")

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.Part:
        data["needs"] = tuple(data.get("needs", ()))
        return items.Part(**data)


class PhaseSchema(Schema):
    """See items.Phase."""

    id = fields.String(required=True, validate=OneOf("phase", items.PHASES))
    moment = fields.String(required=True, validate=OneOf("moment", items.MOMENTS))
    made = Ids(required=True)

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.Phase:
        return items.Phase(data["id"], data["moment"], tuple(data["made"]))


class SettingSchema(Schema):
    """See items.Setting."""

    id = fields.String(required=True, validate=KEBAB)
    healthy = Number(required=True)
    log_sigma = Number()
    source = Text(required=True)

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.Setting:
        return items.Setting(**data)


class CoilSchema(Schema):
    """See items.Coil."""

    name = Text(required=True)
    ground_point = Text(required=True)
    probe = Named(
        keys=fields.String(validate=OneOf("measured_to", ("ground-pin", "body"))),
        values=fields.String(validate=KEBAB),
        required=True,
    )
    parts = fields.List(fields.Nested(PartSchema), required=True)

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.Coil:
        return items.Coil(data["name"], data["ground_point"], data["probe"], tuple(data["parts"]))


class FuseAmpsSchema(Schema):
    """Rating of the pull feed fuse on a 12 and a 24 V machine."""

    at_12_v = Number(required=True)
    at_24_v = Number(required=True)
    source = Text(required=True)


class PlungerSchema(Schema):
    """See items.Plunger."""

    pull_in_share = Number(required=True)
    pull_in_log_sigma = Number(required=True)
    hold_share = Number(required=True)
    hold_log_sigma = Number(required=True)
    seated_gap_mm = Number(required=True)
    pull_seated_strength = Number(required=True)
    travel_seconds = Number(required=True)
    travel_log_sigma = Number(required=True)
    source = Text(required=True)

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.Plunger:
        return items.Plunger(**data)


class CircuitSchema(Schema):
    """A circuit file; the base (``abstract: true``) has no duty, control or phases."""

    id = fields.String(required=True, validate=KEBAB)
    name = Text(required=True)
    abstract = fields.Boolean(load_default=False)
    base = fields.String(validate=KEBAB)
    duty = fields.String(validate=OneOf("duty", items.DUTIES))
    control = fields.String(validate=OneOf("control", items.CONTROLS))
    source = Text(required=True)
    command_words = Text()
    listen_words = Text()
    hold_words = Text()
    nodes = Ids(required=True)
    parts = fields.List(fields.Nested(PartSchema), required=True)
    phases = fields.List(fields.Nested(PhaseSchema))
    brings = Named(
        keys=fields.String(validate=OneOf("phase", items.PHASES)),
        values=members("hazard", items.HAZARDS),
    )
    coils = Named(
        keys=fields.String(validate=OneOf("coil", items.COILS)), values=fields.Nested(CoilSchema)
    )
    fuse_amps = fields.Nested(FuseAmpsSchema)
    settings = fields.List(fields.Nested(SettingSchema))
    plunger = fields.Nested(PlungerSchema)

    @validates_schema
    def _whole(self, data: dict[str, Any], **_: Any) -> None:
        need = (
            ("coils", "fuse_amps", "settings", "plunger")
            if data.get("abstract")
            else ("base", "duty", "control", "command_words", "listen_words", "hold_words",
                  "phases", "brings")
        )  # fmt: skip
        missing = {key: ["Missing data for required field."] for key in need if key not in data}
        if missing:
            raise ValidationError(missing)


ACTIONS = ("open", "closed", "never", "ohms", "add_ohms", "times_ohms", "volts", "value", "times")
_PART_ACTIONS = ACTIONS[:7]


class ChangeSchema(Schema):
    """See items.Change."""

    part = fields.String(validate=KEBAB)
    setting = fields.String(validate=KEBAB)
    open = fields.Boolean(validate=validate.Equal(True))
    closed = fields.Boolean(validate=validate.Equal(True))
    never = fields.Boolean(validate=validate.Equal(True))
    ohms = Extent()
    add_ohms = Extent()
    times_ohms = Extent()
    volts = Extent()
    value = Extent()
    times = Extent()
    phases = members("phase", items.PHASES)

    @validates_schema
    def _whole(self, data: dict[str, Any], **_: Any) -> None:
        if ("part" in data) == ("setting" in data):
            raise ValidationError("names either a part or a setting")
        actions = [action for action in ACTIONS if action in data]
        allowed = _PART_ACTIONS if "part" in data else ("value", "times")
        if len(actions) != 1 or actions[0] not in allowed:
            raise ValidationError(f"has exactly one of {', '.join(allowed)}")

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.Change:
        action = next(action for action in ACTIONS if action in data)
        start, to = data[action] if isinstance(data[action], tuple) else (0.0, 0.0)
        target: Any = "part" if "part" in data else "setting"
        return items.Change(
            target, data[target], action, start, to,
            phases=tuple(data.get("phases", items.PHASES)),
        )  # fmt: skip


class StateSchema(Schema):
    """See items.State."""

    id = fields.String(required=True, validate=KEBAB)
    weight = Number(required=True, validate=validate.Range(min=0, min_inclusive=False))
    system_volts = members("system_volts", items.SYSTEM_VOLTS)
    changes = fields.List(fields.Nested(ChangeSchema), required=True)

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.State:
        return items.State(
            data["id"], data["weight"], tuple(data["changes"]),
            tuple(data.get("system_volts", items.SYSTEM_VOLTS)),
        )  # fmt: skip


def _alternatives(data: dict[str, Any]) -> tuple[Mapping[str, Any], ...]:
    """Return the list of alternatives that ``applies`` or ``applies_any`` stands for."""
    return tuple(data["applies_any"]) if "applies_any" in data else (data["applies"],)


def _one_applies(data: dict[str, Any]) -> None:
    if ("applies" in data) == ("applies_any" in data):
        raise ValidationError("give either applies or applies_any", "applies")


class CauseSchema(Schema):
    """A file of kb/causes."""

    id = fields.String(required=True, validate=KEBAB)
    name = Text(required=True)
    section = fields.String(required=True, validate=OneOf("section", items.SECTIONS))
    applies = fields.Nested(AppliesSchema)
    applies_any = fields.List(fields.Nested(AppliesSchema))
    share = Number(required=True, validate=validate.Range(min=0, min_inclusive=False))
    minutes = Number(required=True, validate=validate.Range(min=0, min_inclusive=False))
    source = Text(required=True)
    states = fields.List(fields.Nested(StateSchema), required=True, validate=validate.Length(min=1))
    looks_like = Text(required=True)
    remedy = Text(required=True)
    proof_of_repair = Text(required=True)
    confirmed_by = Ids(required=True)
    hazards = members("hazard", items.HAZARDS, required=True)

    @validates_schema
    def _whole(self, data: dict[str, Any], **_: Any) -> None:
        _one_applies(data)


class ResultSchema(Schema):
    """Either a reading's unit and range, or the outcomes."""

    unit = fields.String(validate=OneOf("unit", items.UNITS))
    low = Number()
    high = Number()
    outcomes = Ids(validate=validate.Length(min=2))

    @validates_schema
    def _whole(self, data: dict[str, Any], **_: Any) -> None:
        if set(data) not in ({"unit", "low", "high"}, {"outcomes"}):
            raise ValidationError("give unit, low and high, or outcomes")


class Node(fields.Field[dict[str, str]]):
    """A node name, or a map of coil style to node; read into a map of coil style to node."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> dict[str, str]:
        found = value if isinstance(value, Mapping) else dict.fromkeys(items.COILS, value)
        if set(found) != set(items.COILS) or not all(isinstance(v, str) for v in found.values()):
            raise ValidationError("a node, or {case-ground: node, body-ground: node}")
        return dict(found)


class MeasuredSchema(Schema):
    """``predicted_by`` of a reading."""

    class Meta:
        """``from`` is a word of Python and ``load`` a method: these fields are given by name."""

        include = {  # noqa: RUF012 - marshmallow's own form
            "from": Node(),
            "load": fields.String(
                load_default="none", validate=OneOf("load", ("none", "lamp-pull", "lamp-hold"))
            ),
        }

    quantity = fields.String(
        required=True, validate=OneOf("quantity", ("voltage", "current", "resistance", "seconds"))
    )
    to = Node()
    part = fields.String(validate=KEBAB)
    phase = fields.String(required=True, validate=OneOf("phase", items.PHASES))
    plug = fields.String(required=True, validate=OneOf("plug", ("fitted", "removed")))

    @validates_schema
    def _whole(self, data: dict[str, Any], **_: Any) -> None:
        if data.get("quantity") in ("voltage", "resistance") and not {"from", "to"} <= set(data):
            raise ValidationError("a voltage or resistance is read from a node to a node", "from")
        if data.get("quantity") == "current" and "part" not in data:
            raise ValidationError("a current is that of a part", "part")


class Tree(fields.Field[Any]):
    """An outcome tree or a distribution (see items.Branch)."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        return _tree(value, "")


def _tree(value: Any, path: str) -> items.Branch | dict[str, float]:
    """Read a tree; raises ValidationError naming the path inside it."""
    if not isinstance(value, Mapping):
        raise ValidationError(f"{path or 'the tree'}: a distribution or if/then/else")
    if "if" not in value:
        return _distribution(value, path)
    if set(value) != {"if", "then", "else"}:
        raise ValidationError(f"{path or 'the tree'}: a branch has if, then and else")
    test = value["if"]
    if isinstance(test, str):
        OneOf("event", items.EVENTS)(test)
    else:
        test = AppliesSchema().load(test)
    return items.Branch(
        test, _tree(value["then"], path + ".then"), _tree(value["else"], path + ".else")
    )


def _distribution(value: Mapping[str, Any], path: str) -> dict[str, float]:
    """Read outcome shares that sum to 1."""
    shares = {str(name): Number().deserialize(share) for name, share in value.items()}
    place = path.lstrip(".") or "the distribution"
    if any(share < 0 for share in shares.values()):
        raise ValidationError(f"{place}: shares are not negative")
    if abs(sum(shares.values()) - 1.0) > 1e-6:
        raise ValidationError(f"{place}: shares sum to {sum(shares.values()):.4g}, not to 1")
    return shares


class ExpectedSchema(Schema):
    """``predicted_by`` of an outcome check."""

    given = Named(keys=fields.String(), values=Tree())
    otherwise = Tree(required=True)


class SpreadSchema(Schema):
    """A number with its source."""

    value = Number(required=True, validate=validate.Range(min=0))
    source = Text(required=True)


class CheckSchema(Schema):
    """A file of kb/checks."""

    id = fields.String(required=True, validate=KEBAB)
    name = Text(required=True)
    kind = fields.String(required=True, validate=OneOf("kind", items.KINDS))
    applies = fields.Nested(AppliesSchema)
    applies_any = fields.List(fields.Nested(AppliesSchema))
    shared_between_sides = fields.Boolean(required=True)
    minutes = Number(required=True, validate=validate.Range(min=0))
    setup = fields.String(required=True, validate=OneOf("setup", items.SETUPS))
    result = fields.Nested(ResultSchema, required=True)
    predicted_by = fields.Dict(required=True)
    repeatability = fields.Nested(SpreadSchema)
    instrument = fields.String(validate=KEBAB)
    slip = fields.Nested(SpreadSchema)
    outcome_words = Named(keys=fields.String(), values=Text())
    say = Text(required=True)
    how = Text(required=True)
    why = Text(required=True)
    hazards = members("hazard", items.HAZARDS, required=True)
    commanded = fields.Boolean(load_default=False)
    source = Text(required=True)

    @validates_schema
    def _whole(self, data: dict[str, Any], **_: Any) -> None:
        _one_applies(data)
        is_outcome = "outcomes" in data.get("result", {})
        need = ("slip", "outcome_words") if is_outcome else ("repeatability", "instrument")
        missing = {key: ["Missing data for required field."] for key in need if key not in data}
        if missing:
            raise ValidationError(missing)


class BecauseSchema(Schema):
    """See items.Because."""

    found = Text(required=True)
    points = Text(required=True)
    next = Text(required=True)

    @post_load
    def _make(self, data: dict[str, Any], **_: Any) -> items.Because:
        return items.Because(**data)


class RuleSchema(Schema):
    """A file of kb/rules; conditions and actions are checked in engine.knowledge.rule_language."""

    id = fields.String(required=True, validate=KEBAB)
    family = fields.String(required=True, validate=OneOf("family", items.FAMILIES))
    title = Text(required=True)
    when = fields.List(fields.Dict(), required=True, validate=validate.Length(min=1))
    then = fields.List(fields.Dict(), required=True, validate=validate.Length(min=1))
    because = fields.Nested(BecauseSchema, required=True)
    source = Text(required=True)


class TableSchema(Schema):
    """A file of kb/tables."""

    id = fields.String(required=True, validate=KEBAB)
    title = Text(required=True)
    source = Text(required=True)
    rows = fields.List(fields.Dict(), required=True, validate=validate.Length(min=1))


def flatten(messages: Any, path: str = "") -> list[Fault]:
    """Turn marshmallow's nested messages into faults with paths such as ``when[0].check``."""
    if isinstance(messages, Mapping):
        return [
            fault for key, inner in messages.items() for fault in flatten(inner, _join(path, key))
        ]
    texts = messages if isinstance(messages, list) else [messages]
    return [Fault(path, _plain(str(text))) for text in texts]


def _join(path: str, key: Any) -> str:
    if isinstance(key, int):
        return f"{path}[{key}]"
    if key == "_schema" and path:
        return path
    return f"{path}.{key}" if path else ("" if key == "_schema" else str(key))


_PLAIN = {
    "Missing data for required field.": "is missing",
    "Unknown field.": "is not a field here",
    "Not a valid list.": "must be a list",
    "Not a valid mapping type.": "must be a mapping of names to values",
    "Invalid input type.": "must be a mapping of names to values",
    "Not a valid string.": "must be text",
    "Not a valid boolean.": "must be true or false",
    "Not a valid integer.": "must be a whole number",
    "Field may not be null.": "must not be empty (null)",
}


def _plain(text: str) -> str:
    return _PLAIN.get(text, text)
