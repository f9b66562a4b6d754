"""``manage.py eligibility``: the report on a training record document."""

import argparse
import difflib
import json
import os
import shutil
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, NoReturn, TextIO

from django.core.management.base import BaseCommand, CommandParser, OutputWrapper

from syllabus.engine.errors import (
    DocumentError,
    EngineError,
    Error,
    InputError,
    QuestionError,
    RuleDataError,
)
from syllabus.engine.record import document, reading
from syllabus.engine.record.record import Record
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import READERS, Context, context_from
from syllabus.engine.rules.reasons import NotCovered
from syllabus.engine.rules.report import Report
from syllabus.engine.rules.rulebook import PRACTICAL_TEST, ROLES, SOLO_CROSS_COUNTRY, Rulebook
from syllabus.law import rulebook
from training.management import eligibility_table
from training.management.plain_text import clean, encodable

ELIGIBLE, NOT_ELIGIBLE, BAD_INPUT = 0, 1, 2
STANDARD_INPUT = "-"
MOST_BYTES = 64 * 1024 * 1024
COLUMNS = 100

_EPILOG = """\
exit codes: 0 eligible (without --toward: for every milestone that the rules cover), 1 not eligible or
unknown, 2 bad input, or the rules cover no requested milestone.

examples:
  python3 manage.py eligibility record.json --toward {test} --on 2026-11-20
  python3 manage.py eligibility record.json --toward {away} \\
      --context aircraft_model=C172 --context route=KGRB,KMTW,KGRB
  python3 manage.py eligibility - --json < record.json
"""


def epilog() -> str:
    """What the help ends with; the examples ask about milestones that the rules have."""
    return _EPILOG.format(test=_such_as(PRACTICAL_TEST), away=_such_as(SOLO_CROSS_COUNTRY))


def _such_as(*roles: str) -> str:
    """The first milestone of these roles; MILESTONE if the rules have none or cannot be read."""
    try:
        return next((each.id for each in rulebook.current().in_role(*roles)), "MILESTONE")
    except RuleDataError:  # the question itself says so, with every error
        return "MILESTONE"


@dataclass(frozen=True)
class Asked:
    """The command's arguments, read."""

    record: Record
    milestones: tuple[str, ...]
    on: date
    known_at: datetime | None
    context: Context


class Command(BaseCommand):
    help = (
        "Reads a training record document and reports what is met toward a milestone, what is"
        " missing, and on which days the answer is valid. Without --toward: one line for each"
        " milestone. Uses no database."
    )
    requires_system_checks = []

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        return super().create_parser(
            prog_name,
            subcommand,
            epilog=epilog(),
            formatter_class=argparse.RawDescriptionHelpFormatter,
            **kwargs,
        )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("record", metavar="RECORD.json", help="the document; - reads standard input")
        parser.add_argument(
            "--toward",
            metavar="MILESTONE",
            help=f"such as {_such_as(*ROLES)} (default: all)",
        )
        parser.add_argument(
            "--on", metavar="DAY", help="the day of the question, such as 2026-11-20 (default: today)"
        )
        parser.add_argument(
            "--context",
            metavar="KEY=VALUE",
            action="append",
            default=[],
            help=f"context of the question: any of {', '.join(READERS)}; may be repeated",
        )
        parser.add_argument(
            "--known-at",
            metavar="INSTANT",
            help="ignore what was recorded after this time, such as 2026-11-20T18:00:00-06:00",
        )
        parser.add_argument("--json", action="store_true", help="print only the report, as JSON")

    def run_from_argv(self, argv: list[str]) -> None:
        """As Django's, without its closing of database connections: that alone would read the settings."""
        self._called_from_command_line = True
        parser = self.create_parser(argv[0], argv[1])
        options = vars(parser.parse_args(argv[2:]))
        self.execute(**options)

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            rules = rulebook.current()
            asked = read(options, rules)
            one = options["toward"] is not None
            reports, refused = [], []
            for each in asked.milestones:
                try:
                    reports.append(
                        evaluate(
                            rules,
                            asked.record,
                            each,
                            asked.on,
                            known_at=asked.known_at,
                            context=asked.context,
                        )
                    )
                except NotCovered as problem:
                    if one:
                        raise
                    refused.append(problem)
        except InputError as problem:
            self.refuse(problem.errors)
        except NotCovered as problem:
            self.refuse([Error(problem.milestone, f"not covered by these rules: {problem}")])
        except EngineError as problem:
            self.refuse([Error("--on", str(problem))])
        made = self.as_json if options["json"] else self.as_table
        self.show(made(reports, refused, one))
        if not reports:  # every milestone refused: that is no yes
            sys.exit(BAD_INPUT)
        sys.exit(ELIGIBLE if all(report.eligible for report in reports) else NOT_ELIGIBLE)

    def as_json(self, reports: list[Report], refused: list[NotCovered], one: bool) -> str:
        made = [report.as_json() for report in reports]
        every: dict[str, Any] = {"reports": made}
        if refused:
            every["not_covered"] = [
                {
                    "milestone": each.milestone,
                    "key": each.key,
                    "value": each.value,
                    "why": str(each),
                    "code": each.reason.code,
                }
                for each in refused
            ]
        text = json.dumps(made[0] if one else every, indent=2, ensure_ascii=False)
        can_write = encodable(text, _encoding(self.stdout)) == text
        return text if can_write else json.dumps(json.loads(text), indent=2)

    def as_table(self, reports: list[Report], refused: list[NotCovered], one: bool) -> str:
        width, color = COLUMNS, False
        if self.stdout.isatty():
            width = min(COLUMNS, shutil.get_terminal_size((COLUMNS, 24)).columns)
            color = self.style.SUCCESS("?") != "?" and not os.environ.get("NO_COLOR")
        if one:
            text = eligibility_table.render(reports[0], width, color=color)
        else:
            text = eligibility_table.render_all(reports, width, refused, color=color)
        return encodable(text, _encoding(self.stdout))

    def show(self, text: str) -> None:
        """Write to standard output. A closed pipe is no error."""
        if _is_closed(self.stdout):
            return
        try:
            self.stdout.write(text)
            self.stdout.flush()
        except BrokenPipeError:
            _discard(sys.stdout)
        except OSError as problem:
            _discard(sys.stdout)
            self.refuse([Error("standard output", problem.strerror or "cannot be written")])

    def refuse(self, errors: Iterable[Error]) -> NoReturn:
        """Print each error on its own line and exit with code 2."""
        for error in () if _is_closed(self.stderr) else errors:
            self.stderr.write(encodable(clean(str(error)), _encoding(self.stderr)), str)
        sys.exit(BAD_INPUT)


def _is_closed(stream: OutputWrapper) -> bool:
    """Whether the process was started without it (``>&-``)."""
    return stream._out is None


def _encoding(stream: OutputWrapper) -> str:
    return getattr(stream, "encoding", None) or "utf-8"


def _discard(stream: TextIO) -> None:
    """Let what is still buffered go nowhere, so that the interpreter's last flush does not fail again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


# Arguments, read with all errors listed together


def read(options: Mapping[str, Any], rules: Rulebook) -> Asked:
    """The question and the record. Raises: QuestionError with the errors of both, each with its place."""
    errors = reading.Errors()
    on = datetime.now(UTC).astimezone().date()
    if options["on"] is not None:
        on = reading.day(errors, options["on"], "--on") or on
    known_at = None
    if options["known_at"] is not None:
        known_at = reading.instant(errors, options["known_at"], "--known-at")
    context = _context(errors, options["context"])
    milestones = _milestones(errors, options["toward"], rules)
    record = read_record(errors, options["record"])
    errors.stop(QuestionError)
    return Asked(record, milestones, on, known_at, context)


def _context(errors: reading.Errors, pairs: Sequence[str]) -> Context:
    given: dict[str, str] = {}
    for pair in pairs:
        key, sign, value = pair.partition("=")
        key = key.strip()
        if not sign or not key or not value.strip():
            errors.add(f"--context {pair}", "write it as KEY=VALUE, such as aircraft_model=C172")
        elif key in given:
            errors.add(f"--context {key}", "given twice; keep one")
        else:
            given[key] = value
    try:
        return context_from(given, "--context")
    except QuestionError as problem:
        for error in problem.errors:
            errors.add(error.place.replace("--context.", "--context ", 1), error.message)
        return Context()


def _milestones(errors: reading.Errors, toward: str | None, rules: Rulebook) -> tuple[str, ...]:
    known = tuple(rules.milestones)
    if toward is None:
        return known
    if toward not in known:
        close = [each for each in known if toward and each.endswith(f".{toward}")]
        close = close or difflib.get_close_matches(toward.lower(), known, 2)
        hint = f"; did you mean {' or '.join(map(repr, close))}?" if close else "."
        errors.add(
            "--toward", f"there is no milestone {reading.called(toward)}{hint} Use one of {', '.join(known)}"
        )
    return (toward,)


def read_record(errors: reading.Errors, name: str) -> Record:
    shown = "standard input" if name == STANDARD_INPUT else name or repr(name)
    try:
        text = read_bytes(name)
        if len(text) > MOST_BYTES:
            raise DocumentError.at(
                "", f"more than {MOST_BYTES // 1024**2} MB; no training record is that long"
            )
        if not text.strip():
            raise DocumentError.at("", "is empty; a training record document is expected")
        return document.parse(reading.loads(text, error=DocumentError))
    except DocumentError as problem:
        errors.extend(Error(shown, str(error)) for error in problem.errors)
    except (OSError, ValueError) as problem:
        errors.add(shown, f"cannot be read: {getattr(problem, 'strerror', None) or problem}")
    return Record()


def read_bytes(name: str) -> bytes:
    """What the file holds, or a byte more than is read at most."""
    if name == STANDARD_INPUT:
        if sys.stdin is None:
            raise DocumentError.at("", "is closed; give a file, or send the document into it")
        return sys.stdin.buffer.read(MOST_BYTES + 1)
    with open(name, "rb") as file:
        return file.read(MOST_BYTES + 1)
