"""Who gets reminders about a student, and outside which hours."""

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from syllabus.engine.time import calendar
from training.models import Assignment, Guardian, ReminderPreferences, Role, School, Student, User

ONESELF, INSTRUCTS, GUARDIAN, ADMINISTERS = "oneself", "instructs", "guardian", "administers"


@dataclass(frozen=True, slots=True)
class Recipient:
    """One person, their relation to the student, and their settings."""

    why: str
    user: User | None
    guardian: Guardian | None
    zone: dt.tzinfo
    language: str
    email: bool
    quiet_from: dt.time
    quiet_until: dt.time

    @property
    def key(self) -> str:
        """The same for the same person, so that nobody gets a reminder twice."""
        return f"user:{self.user.pk}" if self.user else f"guardian:{self.guardian and self.guardian.pk}"

    def from_then(self, at: dt.datetime) -> dt.datetime:
        """The first instant from ``at`` on outside this person's quiet hours."""
        return not_in_quiet(at, self.zone, self.quiet_from, self.quiet_until)


def not_in_quiet(at: dt.datetime, zone: dt.tzinfo, start: dt.time, until: dt.time) -> dt.datetime:
    """The first instant from ``at`` on that is not between two times of day on a clock; in UTC.

    The same time twice means no quiet hours. If the clock skips ``until``, quiet hours end with the jump; if
    ``until`` comes twice, they end with the first.
    """
    local = at.astimezone(zone)
    clock = local.time()
    quiet = start <= clock < until if start <= until else clock >= start or clock < until
    if not quiet:
        return at.astimezone(dt.UTC)
    day = local.date() if clock < until else local.date() + dt.timedelta(days=1)
    ends = [dt.datetime.combine(day, until.replace(fold=fold), zone).astimezone(dt.UTC) for fold in (0, 1)]
    return min((each for each in ends if each > at), default=max(ends))


def of_student(student: Student, on: dt.date) -> list[Recipient]:
    """The recipients for a student on a day: the student, the instructors, a minor's guardians with consent.

    Each person once. Queries: 4.
    """
    users: dict[User, str] = {}
    if student.user is not None and student.user.is_active:
        users[student.user] = ONESELF
    for user in _instructors(student, on):
        users.setdefault(user, INSTRUCTS)
    found = [*of_users(users.items(), student.school)]
    found += [of_guardian(each, student.school) for each in guardians(student, on)]
    return found


def administrators(school: School) -> list[Recipient]:
    """The recipients of the school's digest. Queries: 2."""
    users = User.objects.filter(
        is_active=True, roles__school=school, roles__role=Role.Kind.ADMINISTRATOR
    ).order_by("pk")
    return [*of_users([(user, ADMINISTERS) for user in users], school)]


def instructors(school: School) -> list[Recipient]:
    """The recipients of reminders about the school's aircraft. Queries: 2."""
    users = User.objects.filter(
        is_active=True, roles__school=school, roles__role=Role.Kind.INSTRUCTOR
    ).order_by("pk")  # fmt: skip
    return [*of_users([(user, INSTRUCTS) for user in users], school)]


def of_users(users: Iterable[tuple[User, str]], school: School) -> Iterator[Recipient]:
    """Users with their settings. One query."""
    listed = list(users)
    own = {
        each.user_id: each
        for each in ReminderPreferences.objects.filter(user__in=[user for user, _ in listed])
    }
    for user, why in listed:
        wants = own.get(user.pk) or ReminderPreferences(user=user)
        yield Recipient(
            why, user, None, wants.zone(school), wants.language, wants.email,
            wants.quiet_from, wants.quiet_until,
        )  # fmt: skip


def _instructors(student: Student, on: dt.date) -> Iterable[User]:
    return User.objects.filter(
        is_active=True,
        assignments__in=Assignment.objects.filter(Assignment.in_force(on), student=student),
        roles__school=student.school_id,
        roles__role=Role.Kind.INSTRUCTOR,
    ).distinct().order_by("pk")  # fmt: skip


def guardians(student: Student, on: dt.date) -> list[Guardian]:
    """Guardians with consent on the day, while the student is known to be a minor."""
    born = student.birth_date
    if born is None or calendar.age(born, on) >= student.school.of_age_at:
        return []
    consented = Guardian.objects.filter(student=student, consent_on__lte=on)
    return [each for each in consented if each.consent_until is None or each.consent_until >= on]


def of_guardian(guardian: Guardian, school: School) -> Recipient:
    """A guardian as a recipient."""
    default = ReminderPreferences()
    return Recipient(
        GUARDIAN, None, guardian, zoneinfo.ZoneInfo(guardian.time_zone or school.time_zone),
        guardian.language, True, default.quiet_from, default.quiet_until,
    )  # fmt: skip
