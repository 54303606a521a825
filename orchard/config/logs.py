"""What is written to the log: one JSON object a line, with the request's id, and nothing secret or personal.

A line names the route and never the path, since an address may be a secret itself; bodies, headers and query
strings are not written at all. What others' texts bring along (a database's message, an error) is struck out
by `SECRET` before it is written.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
import re
import traceback

from django.db import OperationalError

from orchard.farms import request_ids

SAID = ("method", "route", "status", "ms", "farm", "by", "kind", "position", "hash")
"""What a line may carry beside its sentence: `extra={…}` of these names."""
OF_MACHINES = (OSError, OperationalError)
STRUCK = "***"
SECRET = re.compile(
    r"""
    [\w.+-]+@[\w-]+(?:\.[\w-]+)+                               # an e-mail address
    | (?<=://)[^\s/@]+@                                        # user and password in an address
    | (?i:(?<=bearer\s))\S+                                    # a token as it is sent
    | whsec_\S+                                                # the secret of a webhook
    | (?i:(?<=password=)|(?<=secret=)|(?<=token=)|(?<=ip=))\S+
    | DETAIL:.*                                                # PostgreSQL quotes the row there
    | (?<![\w-])[A-Za-z0-9_-]{40,}(?![\w-])                    # a token or a key by itself
    """,
    re.VERBOSE,
)


class Lines(logging.Formatter):
    """Writes a record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        line = {
            "at": dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "says": struck(record.getMessage()),
            "request_id": request_ids.current.get(),
            **{name: getattr(record, name) for name in SAID if hasattr(record, name)},
        }
        if record.exc_info and record.exc_info[1] is not None:
            line["error"] = _error(record.exc_info[1])
        return json.dumps({name: value for name, value in line.items() if value is not None}, default=str)


def struck(text: str) -> str:
    """Return a text without what is secret or personal in it."""
    return SECRET.sub(STRUCK, text)


def _error(error: BaseException) -> dict[str, object]:
    """Return what kind of error it was and where. Its text is written only where it speaks of machines:
    elsewhere it quotes what somebody sent."""
    frames = traceback.extract_tb(error.__traceback__)
    at = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames[-12:]]
    if not isinstance(error, OF_MACHINES):
        return {"type": type(error).__name__, "at": at}
    return {"type": type(error).__name__, "says": struck(" ".join(str(error).splitlines()[:1])), "at": at}


def settings(level: str) -> dict[str, object]:
    """Return the settings of `logging` for a process of ours."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"line": {"()": "orchard.config.logs.Lines"}},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
        "root": {"handlers": ["stderr"], "level": level},
        "loggers": {
            "django": {"handlers": ["stderr"], "level": "WARNING", "propagate": False},
            # A refusal is an answer, not an accident: it stands in the audit.
            "django.request": {"handlers": ["stderr"], "level": "ERROR", "propagate": False},
            "kombu.connection": {"handlers": ["stderr"], "level": "ERROR", "propagate": False},
            "orchard.farms.audit_chain": {
                "level": "INFO"
            },  # where the audit ended a day: to be kept elsewhere
            "gunicorn.error": {"handlers": ["stderr"], "level": level, "propagate": False},
            "gunicorn.access": {"handlers": [], "level": "CRITICAL", "propagate": False},  # we write our own
        },
    }
