"""A document that is answered is said once, by the frozen dataclass that it is made of.

``keys`` tells what a document has, for /openapi.json; ``plain`` writes it. A class that shows other
names than its fields' has ``DOCUMENT``: the key of each thing shown, and its field or property.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from types import NoneType
from typing import Any, get_args, get_type_hints

from engine.physics.band import Band

Json = Mapping[str, Any]  # an object of a request or an answer, as the wire has it
SPREAD = "**"  # in the place of a key: what this mapping holds stands in the document itself


@dataclass(frozen=True)
class Key:
    """One key of a document: where it comes from, its type, and whether None leaves it out."""

    name: str
    source: str
    kind: Any
    may_miss: bool
    bare: bool  # JSON already, as it came in or was kept


@cache
def keys(document: type[Any]) -> tuple[Key, ...]:
    """Return the keys of a dataclass as a document, in their order."""
    about = {one.name: one.metadata for one in fields(document) if not one.metadata.get("hidden")}
    shown = getattr(document, "DOCUMENT", None)
    shown = shown or {about[name].get("key") or name: name for name in about}
    hints = get_type_hints(document, include_extras=True)
    found = []
    for name, source in shown.items():
        getter = getattr(document, source, None)
        getter = getattr(getter, "fget", None) or getattr(getter, "func", None)
        kind = get_type_hints(getter, include_extras=True)["return"] if getter else hints[source]
        marked = source in about and bool(about[source].get("known"))
        may_miss = marked and NoneType in get_args(kind)
        found.append(Key(name, source, kind, may_miss, _is_json(kind)))
    return tuple(found)


def _is_json(kind: Any) -> bool:
    return kind == Json or any(_is_json(one) for one in get_args(kind))


def plain(value: Any) -> Any:
    """Return documents as dicts, tuples as lists and moments as texts, all the way down."""
    kind: Any = value.__class__
    return _writer(kind)(value)


@cache
def _writer(kind: Any) -> Callable[[Any], Any]:
    """Return what writes values of a class: it is looked at once, not at each value."""
    if issubclass(kind, Band):
        return Band.to_dict
    if is_dataclass(kind):
        return _document_writer(kind)
    if hasattr(kind, "isoformat"):  # a time of a case: the engine itself has none
        return moment
    if issubclass(kind, list | tuple):
        return lambda value: [one if one.__class__ in _BARE else plain(one) for one in value]
    if issubclass(kind, Mapping):
        return lambda value: {name: plain(one) for name, one in value.items()}
    return lambda value: value


def _document_writer(document: Any) -> Callable[[Any], Json]:
    rows = [(one.name, one.source, one.may_miss, one.bare) for one in keys(document)]

    def write(value: Any) -> Json:
        written: dict[str, Any] = {}
        for name, source, may_miss, bare in rows:
            found = getattr(value, source)
            shown = found if bare or found.__class__ in _BARE else plain(found)
            if name == SPREAD:
                written |= shown
            elif found is not None or not may_miss:
                written[name] = shown
        return written

    return write


_BARE = frozenset({str, float, int, bool, NoneType})  # most of an answer: looked at first


def moment(at: Any) -> str:
    """Return a time in UTC as RFC 3339, to the microsecond."""
    return str(at.isoformat(timespec="microseconds")).replace("+00:00", "Z")


class Document:
    """Base of what is answered as JSON."""

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, its keys in their order."""
        return plain(self)


def same(*names: str) -> dict[str, str]:
    """Return keys that are named as the fields and properties which they show."""
    return {name: name for name in names}
