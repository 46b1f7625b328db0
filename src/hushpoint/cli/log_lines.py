"""One JSON line an event, on standard error: when, how grave, from where, what; of a fault its kind, never its data."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime


class JsonLines(logging.Formatter):
    """Writes a record as one line of JSON; tracebacks, which quote data, are left out."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "says": record.getMessage(),
        }
        if record.exc_info and record.exc_info[0]:
            line["fault"] = record.exc_info[0].__name__
        return json.dumps(line)


def log_as_json() -> None:
    """Send every log of this process to standard error in that form."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines())
    logging.basicConfig(handlers=[handler], level=logging.WARNING, force=True)
    logging.getLogger("hushpoint").setLevel(logging.INFO)
