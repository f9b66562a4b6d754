"""``manage.py release``: may this student take this airplane on this flight now?"""

import argparse
import json
import sys
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import CommandParser

from syllabus.engine.errors import DocumentError, EngineError, Error, InputError, QuestionError
from syllabus.engine.record import reading
from syllabus.engine.record.shapes import shape_of
from syllabus.engine.release.answers import Release
from syllabus.engine.release.check import check
from syllabus.engine.release.flight import PlannedFlight
from syllabus.engine.rules.report import CAUTION
from syllabus.law import release, rulebook
from training.management.commands import eligibility

_SIGN = {True: "met", False: "NOT MET", None: "unknown"}
_EPILOG = """\
exit codes: 0 every line is met, 1 a line is not met or unknown, 2 bad input.

Inspections, documents and defects of the aircraft are in no training record: their lines are unknown here.
"""


class Command(eligibility.Command):
    help = (
        "Reads a training record document and a planned solo flight, and lists what is met, not met and"
        " unknown for this flight now. Uses no database."
    )

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        return super(eligibility.Command, self).create_parser(
            prog_name,
            subcommand,
            epilog=_EPILOG,
            formatter_class=argparse.RawDescriptionHelpFormatter,
            **kwargs,
        )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("record", metavar="RECORD.json", help="the document; - reads standard input")
        parser.add_argument("--flight", metavar="FLIGHT.json", required=True, help="the planned flight")
        parser.add_argument(
            "--on",
            metavar="INSTANT",
            help="the time of the question, such as 2026-11-20T12:00:00-06:00 (default: now)",
        )
        parser.add_argument("--json", action="store_true", help="print only the answer, as JSON")

    def handle(self, *_args: Any, **options: Any) -> None:
        errors = reading.Errors()
        try:
            now: datetime | None = datetime.now(UTC)
            if options["on"] is not None:
                now = reading.instant(errors, options["on"], "--on")
            record = eligibility.read_record(errors, options["record"])
            flight = _flight(errors, options["flight"])
            errors.stop(QuestionError)
            assert now is not None, "errors stop before"
            assert flight is not None, "errors stop before"
            found = check(rulebook.current(), release.current(), record, flight, now=now)
        except InputError as problem:
            self.refuse(problem.errors)
        except EngineError as problem:
            self.refuse([Error("--flight", str(problem))])
        self.show(json.dumps(found.as_json(), indent=2) if options["json"] else _table(found))
        sys.exit(eligibility.ELIGIBLE if found.met else eligibility.NOT_ELIGIBLE)


def _flight(errors: reading.Errors, name: str) -> PlannedFlight | None:
    try:
        said = reading.loads(eligibility.read_bytes(name), error=DocumentError)
        found = reading.Errors()
        made: PlannedFlight = shape_of(PlannedFlight).read(found, said, "")
        found.stop(DocumentError)
        return made
    except InputError as problem:
        errors.extend(Error(name, str(error)) for error in problem.errors)
    except (OSError, ValueError) as problem:
        errors.add(name, f"cannot be read: {getattr(problem, 'strerror', None) or problem}")
    return None


def _table(found: Release) -> str:
    """One line for each line of the answer, what is not met first."""
    lines = [
        f"{_SIGN[line.met]:8}{line.reason}{f' ({line.citation})' if line.citation else ''}"
        + "".join(f" Missing: {each}." for each in line.ask)
        for line in sorted(found.lines, key=lambda each: (False, None, True).index(each.met))
    ]
    last = f"Valid until {found.ends.isoformat()}" if found.ends else "No end is known."
    answer = "Every line is met." if found.met else "Not every line is met."
    return "\n".join([answer, last, "", *lines, "", CAUTION])
