"""``manage.py audit``: the findings of a school's records under the rules."""

import argparse
import json
import logging
import pathlib
import sys
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError
from django.utils import timezone

from syllabus.engine.time.instants import in_utc
from training.database import name_of
from training.management.plain_text import clean, encodable
from training.models import Finding, School
from training.reports.audit_kinds import KINDS
from training.services.audit import finding_json, finding_pages, finding_tables, findings

log = logging.getLogger(__name__)
#: The exit codes: there are open findings, the call was wrong, the audit did not finish.
FOUND, WRONG, DIED = 1, 2, 3


class Command(BaseCommand):
    """Exit code 0 without open findings; else see ``FOUND``, ``WRONG`` and ``DIED``."""

    help = (
        "Checks every record of a school against the rules in force on the day of each entry, saves the "
        "findings, and lists the open ones. Exit code 0: no open findings; 1: open findings; 2: the call is "
        "wrong; 3: the audit did not finish and saved nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--school", required=True, metavar="SLUG", help="the school's short name")
        parser.add_argument(
            "--on", type=_day, metavar="DAY", help="as of this day (default: today at the school)"
        )
        parser.add_argument("--all", action="store_true", help="also list closed findings")
        form = parser.add_mutually_exclusive_group()
        form.add_argument("--json", action="store_true", help="print JSON")
        form.add_argument("--csv", action="store_true", help="print CSV")
        form.add_argument("--xlsx", type=pathlib.Path, metavar="FILE", help="write a workbook to FILE")
        form.add_argument(
            "--pdf", type=pathlib.Path, metavar="FILE", help="write the whole audit to FILE as PDF"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            open_ones = self._audit(options)
        except CommandError as wrong:
            wrong.returncode = WRONG
            raise
        except Exception as fault:
            log.exception("the audit of %s did not finish", options["school"])
            why = name_of(fault) if isinstance(fault, DatabaseError) else type(fault).__name__
            raise CommandError(
                f"The audit did not finish ({why}). It saved nothing; the log has the error. Run it again.",
                returncode=DIED,
            ) from fault
        if open_ones:
            sys.exit(FOUND)

    def _audit(self, options: dict[str, Any]) -> bool:
        """Audit and write what was found. Returns whether there are open findings."""
        school = School.objects.filter(slug=options["school"]).first()
        if school is None:
            known = ", ".join(School.objects.order_by("slug").values_list("slug", flat=True)[:20]) or "none"
            raise CommandError(f"No school {options['school']!r}. Known schools: {known}.")
        at = timezone.now()
        on = options["on"] or school.day(at)
        if on > school.day(at):
            raise CommandError(f"--on {on} is in the future; today at the school is {school.day(at)}.")
        done = findings.recompute(school, on, at=at, by=None, via="command")
        states: set[str] = set()
        read = _rows(school, done, on, states, everything=bool(options["all"] or options["pdf"]))
        if options["csv"]:
            finding_tables.write(read, self.stdout)
            return findings.OPEN in states
        rows = list(read)
        if options["json"]:
            self.stdout.write(json.dumps(_document(school, done, rows), ensure_ascii=False, indent=2))
        elif options["xlsx"]:
            _write("--xlsx", options["xlsx"], finding_tables.workbook(rows))
        elif options["pdf"]:
            _write(
                "--pdf", options["pdf"], finding_pages.report(school, done.run, finding_pages.choose(rows))
            )
        else:
            self._tell(school, done, rows)
        return findings.OPEN in states

    def _tell(self, school: School, done: findings.Done, rows: list[Finding]) -> None:
        run = done.run
        self._say(
            f"{school}: {run.students} students audited as of {run.on}: {run.found} findings,"
            + (
                f" {done.new} new, {done.returned} reopened, {done.gone} gone since the last audit."
                if done.kept
                else " an audit of a later day is on file, so this one was not saved."
            )
        )
        for row in rows:
            state = findings.state_of(row)
            told = "" if state == findings.OPEN else f" [{state}]"
            self._say(f"{row.severity.upper()}{told} {KINDS[row.kind]}: {finding_tables.whose(row)}")
            self._say(f"  {row.body['says']}")
            self._say(f"  {'; '.join(row.body['citations'])}. {row.body['way']} (finding {row.ref})")
        if not rows:
            self._say("No open findings.")

    def _say(self, line: str) -> None:
        self.stdout.write(encodable(clean(line), getattr(self.stdout, "encoding", None)))


def _rows(
    school: School, done: findings.Done, on: date, states: set[str], *, everything: bool
) -> Iterator[Finding]:
    """The findings to show: those that are open, or all. They are read as they are written, and ``states``
    gets the state of each.
    """
    wanted = findings.STATES if everything else (findings.OPEN,)
    if done.kept:
        listed = findings.listed(school, state=None if everything else findings.OPEN)
        found: Iterable[Finding] = listed.filter(day__lte=on).iterator(chunk_size=500)
    else:
        found = (each for each in done.standing if findings.state_of(each) in wanted)
    for each in found:
        states.add(findings.state_of(each))
        yield each


def _write(option: str, file: pathlib.Path, made: bytes) -> None:
    try:
        file.write_bytes(made)
    except OSError as fault:
        raise CommandError(f"{option} {file}: {fault.strerror}.") from None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; write it like 2026-11-20") from None


def _document(school: School, done: findings.Done, rows: list[Finding]) -> dict[str, Any]:
    return {
        "school": school.slug,
        "on": done.run.on.isoformat(),
        "at": in_utc(done.run.at),
        "rulebook": done.run.rulebook,
        "students": done.run.students,
        "found": done.run.found,
        "kept": done.kept,
        "new": done.new,
        "returned": done.returned,
        "gone": done.gone,
        "findings": finding_json.listed(rows),
    }
