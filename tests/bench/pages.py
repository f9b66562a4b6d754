"""The student's page in a school of many, beside a bare page that reads one row.

Both go through the same server code in this process: middleware, session, sign-in, template. The bare page
reads one student's row and says the name in the same frame. Three rounds, each request of a student's page
followed by one of the bare page: ``cold``, each student's page for the first time; ``in turn``, every student
once more, so that what is kept of one must outlast all the others; ``again``, one student's page many times.
"""

from __future__ import annotations

import logging
import os
import statistics
import time
import uuid

from django.contrib.auth.decorators import login_required
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.test import Client
from django.urls import include, path
from django.views.decorators.cache import never_cache

from tests.bench.flights import document

#: Of the school; BENCH_STUDENTS makes it smaller for a look.
STUDENTS, FLIGHTS = int(os.environ.get("BENCH_STUDENTS", "500")), 300
AIM = 3
PAGES = ("standing", "hours", "lessons")


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
    print(
        f"  {what:18} {statistics.median(mine):8.1f} {p95(mine):8.1f} ms   "
        f"{statistics.median(beside):8.1f} {p95(beside):8.1f} ms   {p95(mine) / p95(beside):6.2f}",
        flush=True,
    )


def run() -> None:
    """Prints medians and 95th percentiles of both, and the ratio of the latter (aim: at most 3)."""
    logging.getLogger("training.requests").setLevel(logging.WARNING)
    from syllabus.engine import document as documents
    from tests import factories
    from training import record

    school = factories.school()
    instructor = factories.instructor(school)
    kept = documents.parse(document(FLIGHTS))
    students = []
    start = time.perf_counter()
    for _ in range(STUDENTS):
        students.append(factories.student(school, taught_by=instructor))
        record.store(students[-1], kept, by=instructor, at=factories.NOON)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    print(
        f"{STUDENTS} students x {FLIGHTS} flights on {connection.vendor}, one client"
        f" (stored in {time.perf_counter() - start:.0f} s)"
    )
    print(f"  page               median      p95       bare: median      p95      p95 ratio (aim: {AIM})")
    client = Client()
    client.force_login(instructor)
    asked(client, f"/bare/{factories.student(school).ref}/")  # what is imported and compiled only once
    asked(client, f"/students/{factories.student(school, taught_by=instructor).ref}/standing/")
    for page in PAGES:
        each = [(f"/students/{one.ref}/{page}/", f"/bare/{one.ref}/") for one in students]
        measured(f"{page}, {'cold' if page == PAGES[0] else 'first'}", client, each)
        measured(f"{page}, in turn", client, each)
        measured(f"{page}, again", client, each[-1:] * min(STUDENTS, 200))
