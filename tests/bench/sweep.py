"""The sweep's cost at 1,000 and at 1,000,000 endorsements stored, with the same number due each time.

In each round the same things are due: as many records that changed, and as many reminders with their e-mails.
What is stored beside them is put there in bulk: for every ten endorsements a student, in training, worked
out, with one lapse to come.
"""

from __future__ import annotations

import datetime as dt
import statistics
import time
import uuid

from django.db import connection
from django.test.utils import override_settings

from syllabus.law import rulebook
from tests.support import factories
from training import models
from training.services import sweep as sweeping
from training.services.records import page_cache

SIZES = (1_000, 1_000_000)
EACH = 10  # endorsements of a student
DUE, ROUNDS = 20, 7
LEAD = 14


def run() -> None:
    """Prints the times of both sizes and their ratio."""
    with override_settings(MAIL_BACKEND="django.core.mail.backends.locmem.EmailBackend", MAIL_REFUSED=""):
        school = factories.school(time_zone="UTC")
        instructor = factories.instructor(school, certificate="0000001CFI")
        models.ReminderPreferences.objects.create(user=instructor, email=False)
        times = {}
        for size in SIZES:
            stored = models.Endorsement.objects.count()
            store(school, size - stored)
            _settle()
            cpu, wall = zip(*(one_round(school, instructor) for _ in range(ROUNDS)), strict=True)
            times[size] = statistics.median(cpu[1:]), statistics.median(wall[1:])
            cpu_ms, wall_ms = (1000 * each for each in times[size])
            print(
                f"{size:>9,} endorsements, {models.Student.objects.count():>7,} students: {DUE} changed, "
                f"{DUE} due, {DUE} mails: {wall_ms:.0f} ms, of it CPU {cpu_ms:.0f} ms"
            )
            idle = statistics.median(_timed() for _ in range(ROUNDS))
            print(f"{'':>9} with nothing due {idle * 1000:.1f} ms")
        few, many = (times[size] for size in SIZES)
        print(f"ratio of times {many[1] / few[1]:.2f}, of CPU {many[0] / few[0]:.2f} (aim: under 2)")


def store(school: models.School, endorsements: int) -> None:
    """That many endorsements more, ten for a student. In SQL: what is measured is not how they came."""
    today, rules = school.day(dt.datetime.now(dt.UTC)), rulebook.current().id
    mark = uuid.uuid4().hex
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO training_student (school_id, ref, name, training_model, version, lessons_version)"
            " SELECT %s, gen_random_uuid(), %s || n, 'C172', gen_random_uuid(), gen_random_uuid()"
            " FROM generate_series(1, %s) n",
            [school.pk, mark, endorsements // EACH],
        )
        cursor.execute(
            "INSERT INTO training_endorsement (school_id, student_id, entry_id, recorded_at, sealed, kind,"
            " given, route, conditions, aircraft_model, training_date, instructor_name)"
            " SELECT school_id, id, 'e' || n, now(), false, 'solo-90-day', %s::date - n * 30, '[]', '',"
            " 'C172', %s::date - n * 30, 'Ida Example' FROM training_student, generate_series(4, %s) n"
            " WHERE name LIKE %s",
            [today, today, EACH + 3, f"{mark}%"],
        )
        cursor.execute(
            "INSERT INTO training_enrolment (school_id, student_id, starts, ref)"
            " SELECT school_id, id, '2020-01-01', gen_random_uuid() FROM training_student WHERE name LIKE %s",
            [f"{mark}%"],
        )
        cursor.execute(
            "INSERT INTO training_standing"
            ' (school_id, student_id, version, rulebook, "on", at, summary, rendered_by)'
            " SELECT school_id, id, version, %s, %s, now(), '{\"milestones\": []}', %s FROM training_student"
            " WHERE name LIKE %s",
            [rules, today, page_cache.made_by(), f"{mark}%"],
        )
        cursor.execute(
            "INSERT INTO training_lapse (school_id, student_id, uid, what, kind, last_day, requirements,"
            " says, citations, model, ends, due_at, due_lead, changed_at, sequence)"
            " SELECT school_id, id, gen_random_uuid(), 'medical', 'medical',"
            " %s::date + 90 + (id %% 700)::int, '[]', 'Medical', '[]', '', '[]',"
            " now() + interval '30 days' + (id %% 700) * interval '1 day', 60, now(), 0"
            " FROM training_student WHERE name LIKE %s",
            [today, f"{mark}%"],
        )


def _settle() -> None:
    """As the database is when it has been used for a while."""
    models.Stale.objects.all().delete()
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    for school in models.School.objects.all():  # the night's audit is measured by itself
        today = school.day(dt.datetime.now(dt.UTC))
        models.NightlyAudit.objects.update_or_create(school=school, defaults={"on": today, "done": True})
    sweeping.sweep()


def one_round(school: models.School, instructor: models.User) -> tuple[float, float]:
    """Seconds of CPU and by the clock that a sweep takes."""
    for student in models.Student.objects.filter(user=None).order_by("?")[:DUE]:
        models.Student.objects.filter(pk=student.pk).update(training_model=uuid.uuid4().hex[:8])
    today = school.day(dt.datetime.now(dt.UTC))
    at = dt.datetime.now(dt.UTC)
    for _ in range(DUE):
        user = factories.user()
        models.ReminderPreferences.objects.create(user=user, quiet_from=dt.time(), quiet_until=dt.time())
        student = factories.student(school, taught_by=instructor, user=user)
        models.Enrolment.objects.create(school=school, student=student, starts=factories.LONG_AGO)
        models.Lapse.objects.create(
            school=school,
            student=student,
            what="endorsement:solo-90-day@c172",
            kind="endorsement",
            last_day=today + dt.timedelta(days=LEAD),
            says="Solo",
            due_at=at,
            due_lead=LEAD,
            changed_at=at,
        )
    models.Stale.objects.filter(student_id__in=models.Student.objects.exclude(user=None)).delete()
    cpu, wall = time.process_time(), time.perf_counter()
    done = sweeping.sweep(seconds=300)
    taken = time.process_time() - cpu, time.perf_counter() - wall
    assert (done.worked_out, done.reminders, done.sent, done.faults) == (DUE, DUE, DUE, []), str(done)
    return taken


def _timed() -> float:
    began = time.perf_counter()
    sweeping.sweep()
    return time.perf_counter() - began
