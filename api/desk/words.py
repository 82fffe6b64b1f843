"""Small wording of the desk's own: numbers to read out, how a belief moved, who did what."""

import re

_TYPED = re.compile(r"(?<=[.!?]) *(?:Or )?Type [^.]*(?:'[^']*'[^.]*)*\.|^Type [^.]*\. *")


def spoken(number: str) -> str:
    """Return a case number in groups that can be read out: '104 27 3' for '104273'."""
    digits = re.sub(r"\W", "", number)
    return " ".join(digits[start : start + 3] for start in range(0, len(digits), 3))


def minutes_words(minutes: float) -> str:
    """Return a time for people: 'no time', '1 minute', '8 minutes'."""
    whole = round(minutes)
    if whole == 0:
        return "takes no time"
    return "about 1 minute" if whole == 1 else f"about {whole} minutes"


def movement(now: float, before: float | None) -> str:
    """Return in words how a belief moved in hundredths; empty where there was none before."""
    if before is None:
        return ""
    new, old = round(100 * now), round(100 * before)
    if new == old:
        return "as before"
    return f"up from {old}" if new > old else f"down from {old}"


def without_typing(text: str) -> str:
    """Return a text of the interview without its sentences on what to type at a prompt."""
    return " ".join(_TYPED.sub("", " ".join(text.split())).split())
