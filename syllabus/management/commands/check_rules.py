"""``manage.py check_rules``: check the regulation data, and list what was not read in the text itself."""

import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from syllabus.engine.errors import Error, RuleDataError
from syllabus.engine.rules.rulebook import VERIFIED, Milestone, Rulebook, RuleVersion
from syllabus.law import rulebook

BAD_DATA = 2


class Command(BaseCommand):
    help = (
        "Checks the regulation data: shape, kinds, citations and dates in force. Prints a summary of each "
        "file, every version whose text was not read itself, and the rulebook's id. Errors go to standard "
        "error as file:line: message, with exit code 2."
    )
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "directory",
            nargs="?",
            default=rulebook.HOME,
            type=Path,
            metavar="DIR",
            help="a folder of <authority>/<milestone>.yaml; default: the project's own",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        home: Path = options["directory"]
        try:
            if not home.is_dir():
                raise RuleDataError.at("", "is not a folder; name one with <authority>/<milestone>.yaml")
            rules = rulebook.load(home)
        except RuleDataError as problem:
            self.refuse(_shown(home), problem.errors)
        self.stdout.write("\n".join(tally(rules)))

    def refuse(self, home: str, errors: Iterable[Error]) -> None:
        for error in errors:
            place = f"{home}/{error.place}" if error.place else home
            self.stderr.write(f"{place}: {error.message}", str)
        sys.exit(BAD_DATA)


def _shown(home: Path) -> str:
    """The folder relative to the current one."""
    try:
        return home.absolute().relative_to(Path.cwd()).as_posix()
    except ValueError:
        return str(home)


def tally(rules: Rulebook) -> Iterator[str]:
    """A line for each file, then each version that was not read in the text itself, then the totals."""
    for milestone in rules.milestones.values():
        yield f"{_file(milestone)}: {milestone.id}, {_counted(milestone.requirements, _versions(milestone))}"
    everything = [version for each in rules.milestones.values() for version in _versions(each)]
    unread = [version for version in everything if version.verified != "read"]
    if unread:
        yield ""
        yield "Not read in the text itself; check these before relying on them:"
    for version in unread:
        yield f"  {version.verified}: {version.id} from {version.first}, {version.cite.section}"
        yield f"      known from: {version.cite.source}"
    requirements = [requirement for each in rules.milestones.values() for requirement in each.requirements]
    yield ""
    yield (
        f"{_plural(len(rules.milestones), 'milestone')}, {_counted(requirements, everything)},"
        f" rulebook {rules.id}"
    )


def _file(milestone: Milestone) -> str:
    return milestone.id.replace(".", "/", 1) + ".yaml"


def _versions(milestone: Milestone) -> list[RuleVersion]:
    return [version for requirement in milestone.requirements for version in requirement.versions]


def _counted(requirements: Iterable[Any], versions: list[RuleVersion]) -> str:
    marks = Counter(version.verified for version in versions)
    told = ", ".join(f"{marks[mark]} {mark}" for mark in VERIFIED if marks[mark])
    return f"{_plural(len(list(requirements)), 'requirement')}, {_plural(len(versions), 'version')} ({told})"


def _plural(count: int, thing: str) -> str:
    """``1 version``, ``2 versions``."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"
