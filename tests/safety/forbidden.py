"""Word patterns of advice that must never be given, sentence by sentence.

A sentence that speaks of a larger fuse, a bypass that stays, or work under a machine held by its
brake is taken as bad advice unless it forbids it.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

FORBIDS = re.compile(
    r"\b(never|not|no|nobody|cannot|instead of|rather than|take (it|the \w+) (off|out)"
    r"|wrong|forbidden|before you leave)\b",
    re.IGNORECASE,
)
# What such a thing does, or that it was found: told, not advised.
DESCRIBES = re.compile(r"\b(burns?|wire becomes|than (is )?usual)\b", re.IGNORECASE)
BRIDGE = r"(bypass\w*|bridge|bridged|bridging|jumpers?|jump wire|(shorting|wire) link)"
STAYS = r"(leav\w+|left|keep\w*|kept|stay\w*|permanent\w*|for good|until the end|all day|overnight)"
LARGER = r"(larger|bigger|higher|heavier|stronger|next size|next rating|uprat\w+|oversize\w*)"
STUFFING = r"(foil|nail|wire across|solid link|penny)"
MOVES = r"\b(drives?|works?|runs?|moves?|operates?)\b"
PATTERNS: Mapping[str, re.Pattern[str]] = {
    name: re.compile("|".join(alternatives), re.IGNORECASE)
    for name, alternatives in {
        "larger fuse": (
            rf"\b{LARGER}\b[^.]*\bfuse\b",
            rf"\bfuse\b[^.]*\b{LARGER}\b",
            rf"\b{STUFFING}\b[^.]*\bfuse\b",
            r"\bwithout (a|the|its) fuse\b",
        ),
        "bypass left in": (
            rf"\b{BRIDGE}\b[^.]*\b{STAYS}\b",
            rf"\b{STAYS}\b[^.]*\b{BRIDGE}\b",
            rf"{MOVES}[^.]*\bwith\b[^.]*\b{BRIDGE}\b",
            rf"\b(tie|wire|wedge|prop|strap|hold) the (plunger|lock|brake)\b[^.]*{MOVES}",
            r"\b(defeat|disable|disconnect|unplug)\b[^.]*\binterlock\b",
        ),
        "under a machine held by its brake": (
            r"\b(under|beneath|underneath)\b[^.]*\bmachine\b[^.]*\bbrake\b",
            r"\b(crawl|lie|work|reach|get|go)\b[^.]*\b(under|beneath|underneath)\b",
        ),
    }.items()
}
# Under load, under the cover; or under a machine that something else than its brake holds.
SUPPORTED = re.compile(
    r"\b(stands?|support\w*|blocked|chocked|under (the |full |a )?(\w+ )?"
    r"(load|current|cover|voltage|pressure))\b",
    re.IGNORECASE,
)


def texts(item: Any) -> Iterator[str]:
    """Yield every prose string in plain data."""
    if isinstance(item, Mapping):
        for value in item.values():
            yield from texts(value)
    elif isinstance(item, (list, tuple)):
        for value in item:
            yield from texts(value)
    elif isinstance(item, str) and " " in item:
        yield " ".join(item.split())


def sentences(text: str) -> list[str]:
    """Return the sentences of a text."""
    return re.split(r"(?<=[.!?:;])\s+", text)


def bad(sentence: str) -> list[str]:
    """Return which forbidden advice a sentence gives."""
    found = [
        name
        for name, pattern in PATTERNS.items()
        if pattern.search(sentence)
        and not FORBIDS.search(sentence)
        and not DESCRIBES.search(sentence)
    ]
    under = "under a machine held by its brake"
    if under in found and SUPPORTED.search(sentence):
        found.remove(under)
    return found
