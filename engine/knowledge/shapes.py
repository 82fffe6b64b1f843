"""Second layer of checking: reads a file by the fields that its item declares.

An item is a frozen dataclass whose fields are made with :func:`said` (read and kept) or
:func:`written` (read, and turned by the class's ``whole`` into other fields). Its marshmallow
schema, its faults and its reference (:func:`fields_of`) all follow from that one declaration.
"""

import dataclasses
import functools
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Any, ClassVar, Literal, get_args, get_origin, get_type_hints

from marshmallow import Schema, ValidationError, fields, post_load, validate

from engine.knowledge.faults import Code, Fault, Message, nearest, shortened, unknown

MOST_STRANGE = 100  # unknown fields for which the nearest is looked up; a body of junk has more

KEBAB = validate.Regexp(
    r"^[a-z0-9]+(-[a-z0-9]+)*$", error="write ids in lower case with single hyphens: 'like-this'"
)
Loaded = dict[str, Any]  # what the fields of a file have read, before it becomes an item
_MISSING = Message("is missing", Code.MISSING_KEY)


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
        if not isinstance(messages, dict):
            return
        known = [field.data_key or name for name, field in self.fields.items()]
        strange = [name for name in messages if name not in known and name != "_schema"]
        for number, name in enumerate(strange):
            near = nearest(str(name)[:100], known) if number < MOST_STRANGE else ""
            del messages[name]
            message = f"is not a field here{near}; known here: {', '.join(known)}"
            # of bounded length, nothing in it hidden
            messages[shortened(ascii(str(name)[:61])[1:-1])] = [Message(message, Code.UNKNOWN_KEY)]


class Text(fields.String):
    """Non-empty prose, its white space as single spaces."""

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
            raise ValidationError(Message(f"must be a number, not {value!r:.40}", Code.WRONG_TYPE))
        try:
            number = float(value)
        except OverflowError:
            raise ValidationError(Message("is too large a number", Code.OUT_OF_RANGE)) from None
        if not math.isfinite(number):
            raise ValidationError(Message("must be a finite number", Code.OUT_OF_RANGE))
        return number


class Extent(fields.Field[tuple[float, float]]):
    """A number, or a range ``{from: a, to: b}``; read into a pair."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> tuple[float, float]:
        if not isinstance(value, Mapping):
            number: Any = Number().deserialize(value)
            return (number, number)
        if set(value) != {"from", "to"}:
            raise ValidationError("a range is written {from: a, to: b}")
        start: Any = Number().deserialize(value["from"])
        end: Any = Number().deserialize(value["to"])
        if min(start, end) <= 0:
            raise ValidationError("a range runs between numbers above 0: it is spread in logs")
        return (start, end)


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


class Series(fields.List[Any]):
    """A list, read into a tuple; with ``by_id`` into a mapping from the members' ids."""

    def __init__(self, inner: fields.Field[Any], *, by_id: bool = False, **kwargs: Any) -> None:
        self.by_id = by_id
        super().__init__(inner, **kwargs)

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        read: list[Any] = super()._deserialize(value, *args, **kwargs)
        return {one.id: one for one in read} if self.by_id else tuple(read)


def said(words: str, *, key: str = "", least: int = 0, default: Any = dataclasses.MISSING) -> Any:
    """Return a dataclass field that is read from a file under its name, or under ``key``.

    ``words`` say what it is; ``least`` is how many members it has at the least.
    """
    return dataclasses.field(
        default=default, metadata={"words": words, "key": key, "least": least, "required": None}
    )


def written(words: str, *, key: str = "", required: bool = False) -> Any:
    """Return a field that stands in files alone: ``whole`` turns it into others."""
    return dataclasses.field(
        init=False, default=None, repr=False, compare=False,
        metadata={"words": words, "key": key, "least": 0, "required": required},
    )  # fmt: skip


def _field(hint: Any, name: str, **kwargs: Any) -> fields.Field[Any]:  # noqa: PLR0911 - a form a line
    """Return the marshmallow field that reads what a type hint says.

    In ``Annotated`` a validator says what of the type is taken, or a field's class reads it.
    """
    origin, args = get_origin(hint), get_args(hint)
    if origin is Annotated:
        how = hint.__metadata__[0]
        if isinstance(how, validate.Validator):
            return _field(args[0], name, validate=how, **kwargs)
        return how(**kwargs)
    if type(None) in args:
        return _field(next(one for one in args if one is not type(None)), name, **kwargs)
    if origin is Literal:
        return _field(type(args[0]), name, validate=OneOf(name, args), **kwargs)
    if origin is tuple and args[1] is not Ellipsis:
        return fields.Tuple(tuple(_field(one, name) for one in args), **kwargs)
    if origin is tuple:
        return Series(_field(args[0], name), **kwargs)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        if "id" in getattr(args[1], "__dataclass_fields__", ()):  # written as a list of items
            return Series(_field(args[1], name), by_id=True, **kwargs)
        return Named(keys=_field(args[0], name), values=_field(args[1], name), **kwargs)
    if dataclasses.is_dataclass(hint):
        nested: Any = hint
        return fields.Nested(schema_of(nested), **kwargs)
    plain: Mapping[Any, Callable[..., fields.Field[Any]]] = {
        str: fields.String, float: Number, int: functools.partial(fields.Integer, strict=True),
        bool: functools.partial(fields.Boolean, truthy={True}, falsy={False}),
    }  # fmt: skip
    return plain[hint](**kwargs)


class _Declared(StrictSchema):
    """Base of the schemas that follow from an item's declaration."""

    declared_by: ClassVar[Any]
    makes_item: ClassVar[bool]

    @post_load
    def _make(self, data: Loaded, **_: Any) -> Any:
        if hasattr(self.declared_by, "whole"):
            self.declared_by.whole(data)
        return self.declared_by(**data) if self.makes_item else data


@functools.cache
def schema_of(item: Any, *, made: bool = True) -> type[Schema]:
    """Return the schema of a declared class; it loads the class, or plain data if not ``made``."""
    hints = get_type_hints(item, include_extras=True)
    declared = {}
    for one in dataclasses.fields(item):
        if not one.metadata:
            continue
        wanted = one.metadata["required"]
        length = {"validate": validate.Length(min=one.metadata["least"])}
        declared[one.name] = _field(
            hints[one.name], one.name,
            required=one.default is dataclasses.MISSING if wanted is None else wanted,
            data_key=one.metadata["key"] or None,
            metadata={"description": one.metadata["words"]},
            **(length if one.metadata["least"] else {}),
        )  # fmt: skip
    return type(f"{item.__name__}Schema", (_Declared,), {
        **declared, "declared_by": item, "makes_item": made, "__doc__": item.__doc__,
    })  # fmt: skip


@functools.cache
def loader_of(item: Any, *, made: bool = True) -> Schema:
    """Return the one instance of a declared class's schema: making one copies all its fields."""
    return schema_of(item, made=made)()


@dataclasses.dataclass(frozen=True)
class DeclaredField:
    """One key of a file: where it stands, what it holds, whether it must be there, in words."""

    path: str
    kind: str
    required: bool
    words: str
    known: tuple[str, ...] = ()


def fields_of(item: Any, path: str = "") -> list[DeclaredField]:
    """Return the keys of a kind of file in their order, those inside others behind them."""
    found: list[DeclaredField] = []
    for name, one in loader_of(item).fields.items():
        place = f"{path}{one.data_key or name}"
        words = str(one.metadata["description"])
        kind, known, inner = _described(one)
        found.append(DeclaredField(place, kind, one.required, words, known))
        if inner is not None:
            found += fields_of(inner, place + {"mapping": ".ID.", "list": "[]."}.get(kind, "."))
    return found


_KINDS: Mapping[str, tuple[type[fields.Field[Any]], ...]] = {
    "list": (fields.List, fields.Tuple), "mapping": (fields.Dict,), "number": (Number,),
    "true or false": (fields.Boolean,), "whole number": (fields.Integer,),
    "text": (fields.String,), "number or range": (Extent,), "object": (fields.Nested,),
}  # fmt: skip


def _described(one: fields.Field[Any]) -> tuple[str, tuple[str, ...], Any]:
    """Return what a field holds, the closed set it is of, and the class inside it."""
    inner: Any = getattr(one, "inner", None) or getattr(one, "value_field", None) or one
    known = tuple(str(v) for o in inner.validators if isinstance(o, OneOf) for v in o.known)
    schema: Any = inner.schema if isinstance(inner, fields.Nested) else None
    own = type(one).__name__.strip("_").lower()
    kind = next((kind for kind, made in _KINDS.items() if isinstance(one, made)), own)
    return kind, known, getattr(schema, "declared_by", None)


def flatten(messages: Any, path: str = "") -> list[Fault]:
    """Turn marshmallow's nested messages into faults with paths such as ``when[0].check``."""
    if isinstance(messages, Mapping):
        return [
            fault for key, inner in messages.items() for fault in flatten(inner, _join(path, key))
        ]
    texts = messages if isinstance(messages, list) else [messages]
    return [Fault(path, _OURS.get(text, text), Code.OUT_OF_RANGE) for text in texts]


def _join(path: str, key: Any) -> str:
    if isinstance(key, int):
        return f"{path}[{key}]"
    if key == "_schema" and path:
        return path
    return f"{path}.{key}" if path else ("" if key == "_schema" else str(key))


# What marshmallow says of a value of the wrong kind, in our words and with its code.
_OURS: Mapping[str, str] = {
    "Missing data for required field.": _MISSING,
    "Unknown field.": Message("is not a field here", Code.UNKNOWN_KEY),
    **{
        theirs: Message(ours, Code.WRONG_TYPE)
        for theirs, ours in {
            "Not a valid list.": "must be a list",
            "Not a valid tuple.": "must be a list",
            "Not a valid mapping type.": "must be a mapping of names to values",
            "Invalid input type.": "must be a mapping of names to values",
            "Not a valid string.": "must be text",
            "Not a valid boolean.": "must be true or false",
            "Not a valid integer.": "must be a whole number",
            "Field may not be null.": "must not be empty (null)",
        }.items()
    },
}


def missing(data: Mapping[str, Any], keys: Sequence[str]) -> None:
    """Raise ValidationError for those of ``keys`` that are not there."""
    lacking = {key: [_MISSING] for key in keys if key not in data}
    if lacking:
        raise ValidationError(lacking)
