"""Requests a second of a stored student's report, beside a bare endpoint that reads one row.

Both go through the same server code in this process: middleware, token, permission, JSON. The bare one then
reads one student's row and answers.
"""

from __future__ import annotations

import statistics
import time
from typing import Any

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import include, path
from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.base.views import View
from tests.bench.engine import MILESTONE, ON
from tests.bench.flights import document

SIZES = (50, 300, 3_000)
ROUNDS, AT_ONCE = 15, 20


class Bare(View):
    """One row, and nothing else."""

    def get(self, request: Request, ref: Any) -> Response:
        from training.models import Student

        return Response({"name": Student.objects.get(ref=ref).name})


urlpatterns = [
    path("bare/<uuid:ref>", Bare.as_view()),
    path("", include("training.config.urls")),
]


def per_request(client: Client, url: str) -> float:
    """Milliseconds a request takes, the median of several rounds of wall-clock time."""
    spent = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        for _ in range(AT_ONCE):
            answer = client.get(url)
            assert answer.status_code == 200, answer.content
        spent.append((time.perf_counter() - start) / AT_ONCE)
    return statistics.median(spent) * 1e3


def run() -> None:
    from knox.models import AuthToken

    from syllabus.engine.record import document as documents
    from tests.support import factories

    at = factories.school()
    user = factories.instructor(at)
    _, token = AuthToken.objects.create(user)
    client = Client(headers={"authorization": f"Token {token}"})
    print(f"GET students/…/eligibility/{MILESTONE} on {connection.vendor}, one client")
    print("  flights   queries   first answer   answer     bare       ratio   requests/s")
    for size in SIZES:
        student = factories.student(at, taught_by=user)
        factories.attested(student, documents.parse(document(size)))
        url = f"/api/v1/students/{student.ref}/eligibility/{MILESTONE}?on={ON}"
        start = time.perf_counter()
        with CaptureQueriesContext(connection) as first:
            assert client.get(url).status_code == 200
        cold = (time.perf_counter() - start) * 1e3
        queries = len(first)  # the next request clears the log
        bare = per_request(client, f"/bare/{student.ref}")
        mine = per_request(client, url)
        print(
            f"  {size:7,}   {queries:7}   {cold:9.1f} ms   {mine:5.2f} ms   {bare:5.2f} ms"
            f"   {mine / bare:6.2f}   {1e3 / mine:10.0f}"
        )
