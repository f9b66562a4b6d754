"""Findings that no single record shows: hours given, two places at once, unsigned lessons."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain

from syllabus.engine.audit import school as audit_school
from syllabus.engine.audit.audit import A_NOTE, CORRECTION, INCOMPLETE, NOTE, SERIOUS
from syllabus.engine.audit.instructing import Window, too_full
from syllabus.engine.audit.school import Flown, Held
from syllabus.engine.record.record import Flight, Record
from syllabus.engine.rules.facts import same
from syllabus.engine.rules.rulebook import RuleVersion
from syllabus.engine.time.units import format_time
from syllabus.law import auditing
from syllabus.law import instructing as about_instructors
from training.models import LessonRecord, ReleaseDecision, SignOff, Student
from training.reports import authorities, instructing
from training.reports.audit_record import of_authority
from training.reports.audit_tables import Audited, Told, found

_MICROSECOND = dt.timedelta(microseconds=1)
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_TWO_DAYS = dt.timedelta(days=2)


def collect(whole: Audited, student: Student, known: Record) -> None:
    """Collect what spans several records: who flew when, and the training that each instructor gave."""
    for flight in known.flights:
        if flight.date > whole.on:
            continue
        held = whole.known[flight.instructor] if flight.instructor else None
        if flight.off is not None and flight.on is not None:
            whole.flown.append(_flown(student, flight, flight.off, flight.on, held))
        if held is not None and instructing.is_training(flight):
            about = f"{student.pk}/{flight.id}"
            whole.given[held.user].append(instructing.training_of(flight, about, whole.zone))


def _flown(student: Student, flight: Flight, off: dt.datetime, on: dt.datetime, held: Held | None) -> Flown:
    registration, said, who = flight.aircraft.registration, flight.instructor, None
    if said is not None and flight.times.get("dual"):
        who = str(held.user if held else said.certificate or said.name)
    return Flown(
        student.pk,
        flight.id,
        flight.date,
        (off - _EPOCH) // _MICROSECOND,
        (on - _EPOCH) // _MICROSECOND,
        same(registration) if registration else None,
        who,
    )


def hours(whole: Audited) -> Iterator[Told]:
    """Stretches in which an instructor gave more flight training than a rule allows.

    Each version of the rule covers the stretches whose first flight was on a day on which it was in force.
    """
    names = {held.user: held for held in whole.known.values() if held}
    for user, given in sorted(whole.given.items()):
        days = {each.id: whole.school.day(_EPOCH + each.first * _MICROSECOND) for each in given}
        under = {each.id: whole.under[int(each.id.partition("/")[0])] for each in given}
        for authority in dict.fromkeys(chain(*under.values())):
            rules = about_instructors.current()[authority]
            for rule in rules[about_instructors.HOURS_IN_24]:
                most, within = rule.params["most"], rule.params["within"]
                near = [each for each in given if _near(rule, days[each.id])]
                for tally in too_full(near, most, within):
                    exceeded = tally.exceeds(most)
                    window = tally.sure if exceeded else tally.possible
                    day = min(days[each] for each in window.entries)
                    binds = any(authority in under[each] for each in window.entries)
                    if binds and rules.near(rule.id, day) == rule:
                        told = _too_full(whole, names[user], rule, window, day, bool(exceeded))
                        yield replace(told, found=of_authority(authority, told.found))


def _near(rule: RuleVersion, day: dt.date) -> bool:
    """Whether a stretch that the version covers may contain training of that day."""
    return day >= rule.first - _TWO_DAYS and (rule.last is None or day <= rule.last + _TWO_DAYS)


def _too_full(
    whole: Audited, held: Held, rule: RuleVersion, window: Window, day: dt.date, exceeded: bool
) -> Told:
    places = []
    for each in sorted(window.entries):
        pk, _, entry = each.partition("/")
        places.append((str(whole.by_pk[int(pk)].ref), entry))
    gave = "gave" if exceeded else "may have given"
    told = found(
        rule,
        day,
        tuple(f"{ref}/{entry}" for ref, entry in places),
        kind="training-hours",
        severity=SERIOUS if exceeded else INCOMPLETE,
        entries=tuple(entry for _, entry in places),
        says=f"{held.name} {gave} {format_time(window.amount)} of flight training within"
        f" {format_time(rule.params['within'])} on the clock from {window.start:%Y-%m-%d %H:%M} UTC on; at"
        f" most {format_time(rule.params['most'])} are allowed, as far as this school's record says.",
        mend=A_NOTE if exceeded else CORRECTION,
        way="If a time is wrong or missing, correct it; otherwise note it.",
    )
    return Told(told, None, held.user, tuple(places))


def two_places(whole: Audited) -> Iterator[Told]:
    for one, other, shared in audit_school.in_two_places(whole.flown):
        first, second = whole.by_pk[one.student], whole.by_pk[other.student]
        places = ((str(first.ref), one.entry), (str(second.ref), other.entry))
        told = found(
            None,
            other.day,
            tuple(sorted(f"{ref}/{entry}" for ref, entry in places)),
            kind="two-places",
            severity=SERIOUS,
            entries=(one.entry, other.entry),
            says=f"Two flights of {other.day} were in the air at one time with the same"
            f" {' and '.join(shared)}.",
            mend=CORRECTION,
            way="Correct the entry whose times, aircraft or instructor is wrong.",
        )
        yield Told(told, first, None, places)


def _may_wait(whole: Audited, day: dt.date) -> bool:
    """Whether a lesson of that day is still within the school's own time limit for signing, if it has one."""
    return day + dt.timedelta(days=whole.school.late_after_days or 0) >= whole.on


def unsigned(whole: Audited) -> Iterator[Told]:
    drafts = LessonRecord.objects.filter(
        school=whole.school, state=LessonRecord.State.DRAFT, created_at__lte=whole.at
    ).select_related("student", "instructor")
    for draft in drafts.order_by("created_at", "pk"):
        if draft.only_planned:
            continue
        written, taught = whole.school.day(draft.created_at), _day_of(draft)
        day = written if draft.corrects_id or taught is None else taught
        if _may_wait(whole, day):
            continue
        age = (whole.on - day).days
        what = f"The lesson of {day}"
        if draft.corrects_id:
            what = f"The correction of the lesson of {taught or day}, written {written}"
        told = found(
            authorities.rule(auditing.current(), "signed-training", day, draft.student),
            day,
            (str(draft.pk),),
            kind="lesson-unsigned",
            severity=INCOMPLETE,
            says=f"{what}, drafted by {draft.instructor}, was not signed {age}"
            f" {'day' if age == 1 else 'days'} later.",
            mend=CORRECTION,
            way="The instructor signs it, or corrects the draft and then signs.",
        )
        yield Told(told, whole.by_pk.get(draft.student_id, draft.student))


def _day_of(draft: LessonRecord) -> dt.date | None:
    """The day of a drafted lesson, if the draft has a readable one."""
    for part in ("flight", "ground"):
        said = draft.content.get(part) if isinstance(draft.content, dict) else None
        if isinstance(said, dict) and isinstance(said.get("date"), str):
            try:
                return dt.date.fromisoformat(said["date"])
            except ValueError:
                continue
    return None


def unacknowledged(whole: Audited) -> Iterator[Told]:
    signed = (
        SignOff.objects.filter(
            school=whole.school,
            at__lte=whole.at,
            acknowledgement__isnull=True,
            lesson__correction__isnull=True,
            student__user__isnull=False,
        )
        .select_related("student", "by")
        .order_by("at", "pk")
    )
    for each in signed:
        day = whole.school.day(each.at)
        if _may_wait(whole, day):
            continue
        told = found(
            None,
            day,
            (str(each.lesson_id),),
            kind="lesson-unacknowledged",
            severity=NOTE,
            says=f"The lesson that {each.instructor_name} signed on {day} is not acknowledged by the"
            " student.",
            mend=CORRECTION,
            way="The student acknowledges it.",
        )
        yield Told(told, whole.by_pk.get(each.student_id, each.student))


def released_against(whole: Audited) -> Iterator[Told]:
    """Solo releases that were signed although a line of the check was not met or unknown."""
    rows = ReleaseDecision.objects.filter(school=whole.school, against=True, at__lte=whole.at)
    for each in rows.select_related("student", "by").order_by("at", "pk"):
        day = whole.school.day(each.at)
        lines = [line for line in each.answer["lines"] if line["met"] is not True]
        told = found(
            None,
            day,
            (str(each.release_id),),
            kind="release-against",
            severity=SERIOUS,
            says=f"{each.by} released the student for a solo flight on {day} although {len(lines)}"
            f" {'line' if len(lines) == 1 else 'lines'} of the check"
            f" {'was' if len(lines) == 1 else 'were'} not met or unknown: "
            + "; ".join(line["text"] for line in lines)
            + f". Reason given: {each.reason}",
            mend=A_NOTE,
            way="Note what was decided, and why it was safe and lawful, or what was done about it.",
        )
        yield Told(told, whole.by_pk.get(each.student_id, each.student))
