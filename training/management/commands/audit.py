"""``manage.py audit``: a school's records held against the rules, and what does not agree with them."""

from __future__ import annotations

import argparse
import json
import pathlib
import sys
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from syllabus.engine.time.instants import in_utc
from training.management.plain_text import clean, encodable
from training.models import Finding, School
from training.reports.audit_kinds import KINDS
from training.services.audit import finding_pages, finding_tables, findings

FOUND = 1


class Command(BaseCommand):
    """Exit code 0 where nothing was found or everything was dealt with, 1 where something is open."""

    help = (
        "Holds every record of a school against the rules in force on each entry's own day, keeps what was "
        "found, and tells what is open. Exit code 0: nothing is open; 1: something is."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--school", required=True, metavar="SLUG", help="the school's short name")
        parser.add_argument(
            "--on", type=_day, metavar="DAY", help="as of this day (default: today at the school)"
        )
        parser.add_argument("--all", action="store_true", help="also what was dealt with, and what is gone")
        form = parser.add_mutually_exclusive_group()
        form.add_argument("--json", action="store_true", help="as JSON")
        form.add_argument("--csv", action="store_true", help="as a table for a spreadsheet")
        form.add_argument("--xlsx", type=pathlib.Path, metavar="FILE", help="as a workbook, into a file")
        form.add_argument(
            "--pdf", type=pathlib.Path, metavar="FILE", help="the whole audit to print, into a file"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        school = School.objects.filter(slug=options["school"]).first()
        if school is None:
            known = ", ".join(School.objects.order_by("slug").values_list("slug", flat=True)[:20]) or "none"
            raise CommandError(f"No school is called {options['school']!r}. There are: {known}.")
        at = timezone.now()
        on = options["on"] or school.day(at)
        if on > school.day(at):
            raise CommandError(f"--on {on} is still to come; today at the school is {school.day(at)}.")
        done = findings.recompute(school, on, at=at, by=None, via="command")
        everything = options["all"] or options["pdf"]
        if done.kept:
            listed = findings.listed(school, state=None if everything else findings.OPEN)
            rows = list(listed.filter(day__lte=on))
        else:  # as of an earlier day than before: told, and nothing is changed
            wanted = findings.STATES if everything else (findings.OPEN,)
            rows = [each for each in done.standing if findings.state_of(each) in wanted]
        if options["json"]:
            self.stdout.write(json.dumps(_document(school, done, rows), ensure_ascii=False, indent=2))
        elif options["csv"]:
            finding_tables.write(rows, self.stdout)
        elif options["xlsx"]:
            _write("--xlsx", options["xlsx"], finding_tables.workbook(rows))
        elif options["pdf"]:
            _write("--pdf", options["pdf"], finding_pages.report(school, done.run, rows))
        else:
            self._tell(school, done, rows)
        if any(findings.state_of(each) == findings.OPEN for each in rows):
            sys.exit(FOUND)

    def _tell(self, school: School, done: findings.Done, rows: list[Finding]) -> None:
        run = done.run
        self._say(
            f"{school}: {run.students} students audited as of {run.on}: {run.found} findings,"
            + (
                f" {done.new} new, {done.returned} back, {done.gone} gone since the last audit."
                if done.kept
                else " an audit as of a later day was kept before, so that this one changes nothing."
            )
        )
        for row in rows:
            state = findings.state_of(row)
            told = "" if state == findings.OPEN else f" [{state}]"
            self._say(f"{row.severity.upper()}{told} {KINDS[row.kind]}: {finding_tables.whose(row)}")
            self._say(f"  {row.body['says']}")
            self._say(f"  {'; '.join(row.body['citations'])}. {row.body['way']} (finding {row.ref})")
        if not rows:
            self._say("Nothing is open.")

    def _say(self, line: str) -> None:
        self.stdout.write(encodable(clean(line), getattr(self.stdout, "encoding", None)))


def _write(option: str, file: pathlib.Path, made: bytes) -> None:
    try:
        file.write_bytes(made)
    except OSError as fault:
        raise CommandError(f"{option} {file}: {fault.strerror}.") from None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no day such as 2026-11-20") from None


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
        "findings": findings.as_json(rows),
    }
