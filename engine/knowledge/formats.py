"""The formats of the knowledge files, told by the declarations that read them."""

from dataclasses import dataclass
from typing import Any

from engine.knowledge import items
from engine.knowledge.rule_language import ACTIONS, FORMS, Action
from engine.knowledge.shapes import DeclaredField, fields_of


@dataclass(frozen=True)
class Format:
    """A kind of file, or what stands inside one: its keys in their order."""

    name: str
    words: str
    fields: tuple[DeclaredField, ...]
    families: tuple[tuple[str, tuple[str, ...]], ...] = ()


def formats() -> list[Format]:
    """Return every kind of file, then both predictions of a check, conditions and actions.

    ``families`` of the actions says which families of rules may use each.
    """
    kinds: list[Any] = [*items.KINDS_OF_FILE.values(), items.Reading, items.Outcomes]
    conditions: list[Any] = list(dict.fromkeys(FORMS.values()))
    found = [_format(one) for one in (*kinds, *conditions)]
    families = tuple((kind, may) for kind, (may, _) in ACTIONS.items())
    return [*found, _format(Action, families)]


def _format(item: Any, families: tuple[tuple[str, tuple[str, ...]], ...] = ()) -> Format:
    words = " ".join(str(item.__doc__).split("\n\n", maxsplit=1)[0].split())
    return Format(item.__name__, words, tuple(fields_of(item)), families)
