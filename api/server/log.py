"""gunicorn's own log in the form of the service's, without what a caller sent."""

import sys
from typing import Any

from gunicorn.glogging import Logger  # type: ignore[import-untyped]

from api.logs import JsonFormatter, Line, fault

_REFUSED = "Invalid request from ip="
_FAILED = "Error handling request"


class ServerLog(Logger):  # type: ignore[misc]  # gunicorn carries no types
    """gunicorn's logger, writing JSON lines to standard output."""

    def setup(self, cfg: Any) -> None:
        """Set the handlers up as gunicorn does, then give them our form."""
        super().setup(cfg)
        for handler in self.error_log.handlers:
            handler.setFormatter(JsonFormatter())
            handler.setStream(sys.stdout)

    def warning(self, msg: Any, *args: Any, **kwargs: Any) -> None:
        """Log a warning; of a request that is no HTTP, the address and the kind of fault alone."""
        text = str(msg)
        if not text.startswith(_REFUSED):
            super().warning(msg, *args, **kwargs)
            return
        kind = sys.exc_info()[0]
        line = Line(
            event="not-http",
            address=text.removeprefix(_REFUSED).partition(": ")[0],
            error=kind.__name__ if kind else "",
        )
        self.error_log.warning(line)

    def exception(self, msg: Any, *args: Any, **kwargs: Any) -> None:
        """Log an unforeseen error; of the request, the path without its query."""
        error = sys.exc_info()[1]
        if error is None or not str(msg).startswith(_FAILED):
            super().exception(msg, *args, **kwargs)
            return
        path = str(args[-1]).partition("?")[0] if args else ""
        self.error_log.error(Line({"event": "fault", "path": path} | fault(error)))
