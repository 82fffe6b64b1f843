"""The formats of the knowledge files as Markdown, from the declarations that read them."""

from collections.abc import Iterator

from engine.knowledge.formats import Format, formats
from engine.knowledge.shapes import DeclaredField


def as_markdown() -> str:
    """Return a section for each kind of file and for each form of condition and action."""
    return "\n\n".join("\n".join(_section(one)) for one in formats()) + "\n"


def _section(one: Format) -> Iterator[str]:
    yield f"## {one.name}\n\n{one.words}\n"
    yield "| key | holds | must be there | what it is |\n|---|---|---|---|"
    yield from map(_row, one.fields)
    if one.families:
        yield "\n| action | families of rules |\n|---|---|"
        yield from (f"| `{kind}` | {', '.join(may)} |" for kind, may in one.families)


def _row(field: DeclaredField) -> str:
    known = f": {', '.join(f'`{one}`' for one in field.known)}" if field.known else ""
    needed = "yes" if field.required else ""
    return f"| `{field.path}` | {field.kind} | {needed} | {field.words.rstrip('.')}{known} |"
