"""How a line of the log looks: JSON where a machine collects it, words where a person reads along.

A line of JSON holds what is listed here and no more, so that nothing of a record gets into a log by way of a
library's extras: of an exception only its kind and where it came through, for its words often quote the row
that failed.
"""

import logging
import sys
import traceback
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.db import DatabaseError, InterfaceError
from pythonjsonlogger.json import JsonFormatter

from training.database import name_of

ROOT = Path(__file__).resolve().parents[2]
#: What a line may carry besides time, level, logger, message, and what it was written in.
FIELDS = ("method", "route", "status", "ms")


class Where(logging.Filter):
    """Adds to a line the request or the task that it was written in."""

    def filter(self, record: logging.LogRecord) -> bool:
        from training.web.shared import requests

        noted = requests.current()
        celery = sys.modules.get("celery")
        if celery and celery.current_task:
            noted["task"] = f"{celery.current_task.name} {celery.current_task.request.id}"
        record.noted = noted
        return True


class JsonLines(JsonFormatter):
    """One JSON object to a line, in ASCII: some collectors take U+2028 for the end of a line."""

    def add_fields(
        self, log_data: dict[str, Any], record: logging.LogRecord, message_dict: dict[str, Any]
    ) -> None:
        """In the place of the library's own, which takes every extra and the words of an error."""
        log_data |= {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
            **getattr(record, "noted", {}),
        }
        for name in FIELDS:
            if isinstance(value := record.__dict__.get(name), str | int | float):
                log_data[name] = value
        if record.exc_info and record.exc_info[1] is not None:
            log_data["fault"] = fault(record.exc_info[1])
            if isinstance(record.exc_info[1], DatabaseError | InterfaceError):
                log_data["database"] = name_of(record.exc_info[1])


def fault(error: BaseException) -> dict[str, object]:
    """The kind of an exception and those behind it, and the places it came through, the innermost last."""
    kinds: list[str] = []
    seen: BaseException | None = error
    while seen is not None and len(kinds) < 10:
        kinds.append(f"{type(seen).__module__}.{type(seen).__qualname__}")
        seen = seen.__cause__ or (None if seen.__suppress_context__ else seen.__context__)
    frames = traceback.extract_tb(error.__traceback__)[-30:]
    return {
        "kinds": kinds,
        "through": [f"{_short(each.filename)}:{each.lineno} {each.name}" for each in frames],
    }


def _short(path: str) -> str:
    here = Path(path)
    if "site-packages" in here.parts:
        return "/".join(here.parts[here.parts.index("site-packages") + 1 :])
    return str(here.relative_to(ROOT)) if here.is_relative_to(ROOT) else here.name


class Lines(logging.Formatter):
    """Words for a person, with the request's id at the end, and a traceback in full."""

    def format(self, record: logging.LogRecord) -> str:
        line = super().format(record)
        marks = [f"{name} {value}" for name, value in getattr(record, "noted", {}).items()]
        head, newline, rest = line.partition("\n")
        return head + (f" ({', '.join(marks)})" if marks else "") + newline + rest


def logging_settings(kind: str, level: str) -> dict[str, object]:
    """Django's ``LOGGING``: every line to standard error, as ``kind`` (json or lines) says."""
    forms = {
        "json": {"()": JsonLines},
        "lines": {"()": Lines, "format": "{asctime} {levelname} {name}: {message}", "style": "{"},
    }
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {"where": {"()": Where}},
        "formatters": {"line": forms[kind]},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["where"]}},
        "root": {"handlers": ["stderr"], "level": level},
        "loggers": {
            # Every request has its own line already; this one would add the address as it was typed.
            "django.request": {"level": "ERROR"},
            # Django's own handlers write to the console while debugging, or mail to administrators.
            "django": {"handlers": [], "propagate": True},
        },
    }
