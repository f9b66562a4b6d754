"""``manage.py export_course``: a course as the YAML text that ``import_course`` reads back the same."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from syllabus import models
from syllabus.courses import files, outlines

BAD_DATA = 2


class Command(BaseCommand):
    help = (
        "Writes a version of a course as YAML: the newest published one, else the draft. Importing the file "
        "again changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("code", metavar="CODE", help="the course's code, such as private-airplane")
        parser.add_argument("output", nargs="?", type=Path, metavar="FILE", help="default: standard output")
        parser.add_argument(
            "--school",
            metavar="REF",
            help="the school's own course (default: the program's)",
        )
        parser.add_argument("--number", type=int, metavar="N", help="this version (default: the newest)")

    def handle(self, *_args: Any, **options: Any) -> None:
        code, school, number = options["code"], options["school"], options["number"]
        versions = models.CourseVersion.objects.select_related("course").filter(
            course__code=code, course__school_ref=school
        )
        version = (
            versions.filter(number=number).first()
            if number is not None
            else outlines.newest(code, school) or outlines.newest(code, school, published=False)
        )
        if version is None:
            raise CommandError(self.missing(code, school, number, versions), returncode=BAD_DATA)
        text = files.write(outlines.outline(version))
        if options["output"] is None:
            self.stdout.write(text)
            return
        try:
            options["output"].write_text(text, encoding="utf-8")
        except OSError as problem:
            raise CommandError(
                f"{options['output']}: cannot be written: {problem.strerror}", returncode=BAD_DATA
            ) from None

    @staticmethod
    def missing(code: str, school: str | None, number: int | None, versions: Any) -> str:
        """The versions or courses that exist instead."""
        of_school = f" of {school}" if school else ""
        if there := [str(each.number) for each in versions]:
            return f"{code}{of_school} has no version {number}. Its versions: {', '.join(there)}."
        known = models.Course.objects.values_list("code", "school_ref")
        names = [f"{each} --school {whose}" if whose else each for each, whose in known]
        return f"No course {code!r}{of_school}. Known courses: {', '.join(names) or 'none'}."
