"""The student's pages in a school of many, beside a bare page that reads one row.

Both go through the same server code in this process: middleware, session, sign-in, template. The bare page
reads one student's row and says the name in the same frame. Every student is in the shipped course and has
signed lessons. Rounds, each request of a student's page followed by one of the bare page: ``cached``, each
student's page for the first time after the sweep made them; ``again``, one student's page many times;
``cold``, each student's page where nothing is kept of it.
"""

from __future__ import annotations

import datetime as dt
import logging
import os
import statistics
import time
import uuid
from typing import Any

from django.contrib.auth.decorators import login_required
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import include, path
from django.views.decorators.cache import never_cache

from tests.bench.flights import document

#: Of the school; BENCH_STUDENTS makes it smaller for a look.
STUDENTS, FLIGHTS, LESSONS = int(os.environ.get("BENCH_STUDENTS", "500")), 300, 25
AIM = 3
PAGES = ("standing/", "hours/", "lessons/", "")


@never_cache
@login_required
def bare(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """One row, and the frame of every page."""
    from training.models import Student

    name = Student.objects.get(ref=ref).name
    return render(request, "training/base.html", {"caution": name})


urlpatterns = [
    path("bare/<uuid:ref>/", bare),
    path("", include("training.config.urls")),
]


def asked(client: Client, address: str) -> float:
    """Milliseconds that one request takes by the clock."""
    start = time.perf_counter()
    answer = client.get(address)
    taken = (time.perf_counter() - start) * 1e3
    assert answer.status_code == 200, answer.content
    return taken


def p95(times: list[float]) -> float:
    return statistics.quantiles(times, n=20, method="inclusive")[-1]


def measured(what: str, client: Client, addresses: list[tuple[str, str]]) -> None:
    mine, beside = [], []
    for page, plain in addresses:
        mine.append(asked(client, page))
        beside.append(asked(client, plain))
    with CaptureQueriesContext(connection) as queries:
        asked(client, addresses[-1][0])
    print(
        f"  {what:20} {statistics.median(mine):8.1f} {p95(mine):8.1f} ms   "
        f"{statistics.median(beside):8.1f} {p95(beside):8.1f} ms   {p95(mine) / p95(beside):6.2f}"
        f"   {len(queries):2}",
        flush=True,
    )


def run() -> None:
    """Prints medians and 95th percentiles of both, the ratio of the latter (aim: at most 3), and how many
    queries the page takes when it is asked for again."""
    logging.getLogger("training").setLevel(logging.WARNING)
    from tests.support import courses, factories
    from tests.support.page_cache import cached
    from training.services.records.page_cache import CACHE

    school = factories.school()
    instructor = factories.instructor(school)
    start = time.perf_counter()
    course = courses.published()
    students = [trained(school, instructor, course) for _ in range(STUDENTS)]
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    print(
        f"{STUDENTS} students x {FLIGHTS} flights on {connection.vendor}, one client"
        f" (stored in {time.perf_counter() - start:.0f} s)"
    )
    print(f"  pages of {STUDENTS} students made by the sweep in {swept(school):.0f} s")
    print(f"  page                   median      p95       bare: median      p95      p95 ratio (aim: {AIM})")
    client = Client()
    client.force_login(instructor)
    other = factories.student(school, taught_by=instructor).ref
    for page in ("bare/{}/", *(f"students/{{}}/{page}" for page in PAGES)):
        asked(client, "/" + page.format(other))  # what is imported and compiled only once
    for page in PAGES:
        each = [(f"/students/{one.ref}/{page}", f"/bare/{one.ref}/") for one in students]
        name = page.rstrip("/") or "rules"
        measured(f"{name}, cached", client, each)
        measured(f"{name}, again", client, each[-1:] * min(STUDENTS, 200))
        CACHE.delete_many(cached(name))
        measured(f"{name}, cold", client, each)


def trained(school: Any, instructor: Any, course: Any) -> Any:
    """A student in the shipped course, with a record of that many flights and with signed lessons."""
    from syllabus.engine.record import document as documents
    from tests.support import factories, lessons
    from training import models

    student = factories.student(school, taught_by=instructor)
    models.Enrolment.objects.create(
        school=school, student=student, course_version=course, starts=factories.LONG_AGO
    )
    factories.attested(student, documents.parse(document(FLIGHTS)))
    at = [factories.NOON + dt.timedelta(days=number) for number in range(LESSONS)]
    common = {"school": school, "student": student, "content_hash": "x"}
    written = models.LessonRecord.objects.bulk_create(
        models.LessonRecord(
            **common, id=uuid.uuid4(), instructor=instructor, lesson="1-06", content=lessons.CONTENT,
            course_version=course, first_hash="x", state="signed", created_at=when, updated_at=when,
        )
        for when in at
    )  # fmt: skip
    models.SignOff.objects.bulk_create(
        models.SignOff(
            **common, lesson=each, by=instructor, instructor_name=instructor.name, instructor_certificate="x",
            at=each.created_at, performed_at=each.created_at, ledger_tree=f"bench {student.pk}",
            ledger_index=number,
        )
        for number, each in enumerate(written)
    )  # fmt: skip
    return student


def swept(school: Any) -> float:
    """Sweeps until every page is made; seconds. The night's audit is measured by itself."""
    from tests.support.page_cache import cached
    from training import models
    from training.services import sweep as sweeping
    from training.services.records import page_cache

    today = school.day(dt.datetime.now(dt.UTC))
    models.NightlyAudit.objects.update_or_create(school=school, defaults={"on": today, "done": True})
    start = time.perf_counter()
    while models.Stale.objects.exists() or page_cache.waiting(1):
        done = sweeping.sweep()
        assert not done.faults, done
    assert len(cached()) >= STUDENTS * len(PAGES)
    return time.perf_counter() - start
