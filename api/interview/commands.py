"""What a typed line is: a command, one of the answers, 'don't know', or words."""

from dataclasses import dataclass
from typing import Any, Literal

from api.interview.readings import short, split_details
from api.interview.turn import Prompt
from engine.knowledge.faults import nearest

# command -> (what follows it, what it does)
COMMANDS: dict[str, tuple[str, str]] = {
    "why": ("", "why this is asked, and what each likely cause would give"),
    "what if": ("ANSWER", "how an answer would move things; nothing is noted"),
    "back": ("", "take the last answer back"),
    "change": ("N", "change answer number N; 'list' shows the numbers"),
    "add": ("CHECK", "give a reading or answer that was not asked for"),
    "list": ("", "the answers so far"),
    "causes": ("", "all causes with what speaks for and against each"),
    "skip": ("", "leave this check out"),
    "hands": ("KINDS", "what is at hand: ask, look, try, lamp, meter, clamp, recorder, or all"),
    "side": ("left|right", "look at the other brake solenoid"),
    "as": ("caller|technician", "sentences to read out, or how to do it"),
    "how": ("", "this check in the technician's words"),
    "cautions": ("", "all cautions of this step in full"),
    "repair": ("CAUSE", "stop checking and repair; the likeliest when none is named"),
    "again": ("", "show the question again"),
    "summary": ("", "the work order as it stands"),
    "save": ("FILE", "where everything is kept; with FILE, the work order goes into it"),
    "quit": ("", "end; every answer is kept"),
    "help": ("", "this list"),
}
_SHORT = {
    "?": "help", "h": "help", "q": "quit", "exit": "quit", "undo": "back", "whatif": "what if",
    "what-if": "what if", "ranking": "causes", "answers": "list", "w": "why",
}  # fmt: skip
_UNSURE = frozenset(
    {"0", "d", "dk", "dont know", "don't know", "do not know", "i don't know", "i dont know",
     "not known", "not-known", "unknown", "not sure", "unsure", "no idea"}
)  # fmt: skip


@dataclass(frozen=True)
class TypedLine:
    """A line as it was understood; ``details`` are remarks behind an answer."""

    kind: Literal["command", "option", "unsure", "words", "empty", "wrong"]
    name: str = ""
    rest: str = ""
    value: Any = None
    details: tuple[str, ...] = ()


def understand(line: str, prompt: Prompt) -> TypedLine:
    """Return what a line is at a prompt."""
    line = " ".join(line.replace("\u2019", "'").split())
    if not line:
        return TypedLine("empty")
    found = _command(line)
    free = prompt.kind == "text"
    if found is not None and not (free and found.rest and not COMMANDS[found.name][0]):
        return found
    head, rest = split_details(line)
    if prompt.kind == "choice":
        return _choice(head, tuple(rest), prompt)
    if prompt.unsure and line.lower() in _UNSURE - {"0"}:
        return TypedLine("unsure")
    return TypedLine("words", rest=line)


def _command(line: str) -> TypedLine | None:
    low = line.lower()
    first, _, rest = line.partition(" ")
    for name in COMMANDS:
        if low == name or low.startswith(f"{name} "):
            return TypedLine("command", name, line[len(name) :].strip())
    if first.lower() in _SHORT:
        return TypedLine("command", _SHORT[first.lower()], rest.strip())
    return None


def _choice(head: str, details: tuple[str, ...], prompt: Prompt) -> TypedLine:
    """Return the answer that was chosen by number, id or the beginning of its words."""
    low = head.lower()
    for option in prompt.options:
        if low in (option.key, str(option.value).lower(), option.words.lower()):
            return TypedLine("option", value=option.value, details=details)
    if prompt.unsure and low in _UNSURE:
        return TypedLine("unsure", details=details)
    begins = low if len(low) >= 3 or low in ("y", "n") else "?"
    starts = [one for one in prompt.options if one.words.lower().startswith(begins)]
    if len(starts) == 1:
        return TypedLine("option", value=starts[0].value, details=details)
    return TypedLine("wrong", rest=wrong_choice(head, prompt))


def wrong_choice(typed: str, prompt: Prompt) -> str:
    """Return what to type instead of something that is no answer here."""
    unsure = ", 0 for 'I don't know'" if prompt.unsure else ""
    known = [*COMMANDS, *(str(one.value) for one in prompt.options)]
    return (
        f"'{short(typed)}' is none of the answers{nearest(typed.lower(), known)}. Type a number "
        f"from 1 to {len(prompt.options)}{unsure}, or ? for help."
    )
