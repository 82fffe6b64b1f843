"""First layer of checking: YAML text to plain data, refusing what YAML lets pass in silence."""

import math
import re
from typing import Any

import yaml

from engine.knowledge.faults import Code, Fault, KnowledgeError, Message

try:  # the C parser is nine times faster; wheels carry it, a source build may not
    from yaml import CSafeLoader as _BaseLoader
except ImportError:  # pragma: no cover
    from yaml import SafeLoader as _BaseLoader  # type: ignore[assignment]

MAX_DEPTH = 40


class _StrictLoader(_BaseLoader):
    """A safe loader that refuses duplicate keys, odd booleans, octal and sexagesimal numbers."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012 - filled below, per class by design


# YAML 1.1 reads `off` as false and 12:30 as 750; only JSON's scalars are taken here.
for _tag, _pattern, _first in (
    ("null", r"^(?:null|~|)$", ["n", "~", ""]),
    ("bool", r"^(?:true|false)$", ["t", "f"]),
    ("int", r"^-?(?:0|[1-9][0-9]*)$", [*"-0123456789"]),
    ("float", r"^-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?$", [*"-0123456789"]),
):
    _StrictLoader.add_implicit_resolver(f"tag:yaml.org,2002:{_tag}", re.compile(_pattern), _first)


def _not_here(problem: str, place: Any) -> yaml.MarkedYAMLError:
    """Return the error that names the place of a node or an event."""
    return yaml.composer.ComposerError(None, None, problem, place.start_mark)


def _mapping(loader: Any, node: yaml.MappingNode) -> dict[str, Any]:
    """Build a mapping with text keys, refusing a key that stands twice."""
    found: dict[str, Any] = {}
    for key_node, value_node in node.value:
        if not isinstance(key_node, yaml.ScalarNode):
            raise _not_here("a key is one word, not a list or mapping", key_node)
        key = str(key_node.value)
        if key in found:
            raise _not_here(Message(f"key '{key}' stands twice", Code.DUPLICATE_KEY), key_node)
        found[key] = loader.construct_object(value_node, deep=True)
    return found


def _float(loader: Any, node: yaml.ScalarNode) -> float:
    value = float(node.value)
    if not math.isfinite(value):
        raise _not_here(f"number '{node.value}' is too large", node)
    return value


def _integer(loader: Any, node: yaml.ScalarNode) -> int:
    if len(node.value) > 30:
        raise _not_here("a whole number of more than 30 digits", node)
    return int(node.value)


_StrictLoader.add_constructor("tag:yaml.org,2002:map", _mapping)
_StrictLoader.add_constructor("tag:yaml.org,2002:float", _float)
_StrictLoader.add_constructor("tag:yaml.org,2002:int", _integer)


def _refuse_aliases_tags_and_depth(text: str) -> None:
    """Refuse aliases (they can blow up a small text into a large tree), tags and deep nesting."""
    depth = 0
    for event in yaml.parse(text, Loader=_StrictLoader):
        if isinstance(event, yaml.AliasEvent):
            raise _not_here("aliases (*name) are not taken here", event)
        tag = getattr(event, "tag", None)
        if tag is not None:
            raise _not_here(f"tags ({tag}) are not taken here", event)
        if isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
            depth += 1
            if depth > MAX_DEPTH:
                raise _not_here(f"nested more than {MAX_DEPTH} deep", event)
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            depth -= 1


def load_yaml(text: str, name: str) -> Any:
    """Read one YAML document into dicts, lists, text, numbers, booleans and None.

    ``name`` is what an error calls the text, usually a file name. Raises KnowledgeError naming
    line and column for text that is not YAML or that YAML would read in a surprising way.
    """
    try:
        _refuse_aliases_tags_and_depth(text)
        return yaml.load(text, Loader=_StrictLoader)  # noqa: S506 - a SafeLoader subclass
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = f"{name}:{mark.line + 1}:{mark.column + 1}" if mark else name
        message = error.problem or str(error.context)
        raise KnowledgeError([Fault(place, message, Code.UNREADABLE, file=name)]) from error
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        message = str(error).splitlines()[0] if str(error) else "not readable as YAML"
        raise KnowledgeError([Fault(name, message, Code.UNREADABLE, file=name)]) from error
