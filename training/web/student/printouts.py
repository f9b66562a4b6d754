"""A student's pages as PDF, for whoever may read the record: the record, the endorsements, one lesson."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from training.models import Student, User
from training.services import access
from training.services.transfer import printouts


@require_safe
@never_cache
@login_required
def record(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """The whole record."""
    return _made(
        request,
        ref,
        "training-record",
        lambda whose, by, at: printouts.record(whose, by=by, at=at, via="web"),
    )


@require_safe
@never_cache
@login_required
def endorsements(request: HttpRequest, ref: uuid.UUID) -> HttpResponse:
    """The endorsements with their wording."""
    return _made(
        request,
        ref,
        "endorsements",
        lambda whose, by, at: printouts.endorsements(whose, by=by, at=at, via="web"),
    )


@require_safe
@never_cache
@login_required
def lesson(request: HttpRequest, ref: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """One signed lesson; a draft is no paper yet."""
    return _made(
        request,
        ref,
        f"lesson-{str(entry)[:8]}",
        lambda whose, by, at: printouts.lesson(whose, entry, by=by, at=at, via="web"),
    )


def _made(
    request: HttpRequest, ref: uuid.UUID, name: str, make: Callable[[Student, User, dt.datetime], bytes]
) -> HttpResponse:
    at = timezone.now()
    assert isinstance(request.user, User)
    student = access.student(request.user, ref, on=at.date())
    raw = make(student, request.user, at)
    day = student.school.day(at).isoformat()
    return HttpResponse(
        raw,
        content_type="application/pdf",
        headers={"Content-Disposition": f'attachment; filename="{name}-{day}.pdf"'},
    )
