"""The log: one JSON object a line, and nothing secret in any of them.

The service's own events are ``LogLine`` objects; whatever a library logs becomes a line too. Every
text is scrubbed of keys, of credentials in headers and of passwords in URLs before it is written.
"""

import logging
import re
import sys
import traceback
from datetime import UTC, datetime
from typing import Any, TextIO

from api import strict_json

NAME = "threewire"  # the logger above all of the service's own
_LONGEST = 4000  # characters of one text

# A key as api.access.keys makes it keeps the part that names it; the rest goes.
_SECRETS = (
    (re.compile(r"\b(tw_[a-z2-7]{8})_[a-z2-7]{8,}"), r"\1_..."),
    (re.compile(r"(?i)\b((?:bearer|basic)\s+)(?!tw_)[^\s'\",]+"), r"\1..."),
    (re.compile(r"(?i)\b((?:set-)?cookie['\"]?\s*[:=,]\s*).*"), r"\1..."),
    (re.compile(r"(://[^/\s:@]*):[^/\s]*@"), r"\1:...@"),
    (re.compile(r"(?i)\b(password\s*=\s*)\S+"), r"\1..."),
)


class LogLine(dict[str, Any]):
    """What one log line says, by field; as text it is that JSON object."""

    def __str__(self) -> str:
        return strict_json.dumps(dict(self)).rstrip()


class JsonFormatter(logging.Formatter):
    """Formats every record as one JSON object: time, level, and what it says."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line. Of an exception it tells type and place, never the message."""
        moment = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        line: dict[str, Any] = {
            "time": moment.replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "process": record.process,
        }
        if isinstance(record.msg, LogLine):
            for name, value in record.msg.items():
                line[name] = scrub(value) if isinstance(value, str) else value
        else:
            line |= {"event": "message", "logger": record.name, "message": _message(record)}
        if record.exc_info and record.exc_info[1] is not None:
            line |= fault(record.exc_info[1])
        return strict_json.dumps(line).rstrip()


def fault(error: BaseException) -> dict[str, str]:
    """Return type and place of an unforeseen error; its message may hold what a caller sent."""
    frames = traceback.extract_tb(error.__traceback__)[-12:]
    # of a path the last two parts: enough to find it, and nothing of this machine
    places = [f"{'/'.join(one.filename.split('/')[-2:])}:{one.lineno} {one.name}" for one in frames]
    return {"error": type(error).__name__, "at": " > ".join(places)}


def scrub(text: str) -> str:
    """Return the text without keys, header credentials and passwords."""
    for pattern, instead in _SECRETS:
        text = pattern.sub(instead, text)
    return text


def _message(record: logging.LogRecord) -> str:
    try:
        text = record.getMessage()
    except (TypeError, ValueError):  # a library's own slip must not cost the line
        text = str(record.msg)
    return strict_json.shorten(scrub(text), _LONGEST)


def set_up(level: str, stream: TextIO | None = None) -> None:
    """Send this process's log to ``stream`` (standard output), as JSON; libraries' from WARNING.

    May be called again; the last call counts.
    """
    handler = logging.StreamHandler(stream or sys.stdout)
    handler.setFormatter(JsonFormatter())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.captureWarnings(True)
    own = logging.getLogger(NAME)
    own.setLevel(level)
