"""PDFs of a student's record, endorsements or one lesson, for those who may read the record."""

import uuid

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from training.models import User
from training.services import access
from training.services.transfer import printouts, stickers
from training.web.shared.opening import signed_in

#: File names by content.
NAMES = {
    "record": "training-record",
    "endorsements": "endorsements",
    "lesson": "lesson",
    "entry": "logbook-entry",
    "endorsement": "endorsement",
}
#: What is made of one entry.
_OF_ONE = {"lesson": printouts.lesson, "entry": stickers.entry, "endorsement": stickers.endorsement}


@signed_in("GET")
def page(request: HttpRequest, ref: uuid.UUID, what: str, entry: uuid.UUID | None = None) -> HttpResponse:
    """The whole record, the endorsements with their wording, one lesson, or one entry for a paper logbook."""
    at, by = timezone.now(), request.user
    assert isinstance(by, User)
    student = access.student(by, ref, on=at.date())
    name = "-".join(filter(None, (NAMES[what], str(entry or "")[:8], student.school.day(at).isoformat())))
    if entry:
        raw = _OF_ONE[what](student, entry, by=by, at=at, via="web")
    else:
        make = printouts.record if what == "record" else printouts.endorsements
        raw = make(student, by=by, at=at, via="web")
    return HttpResponse(
        raw,
        content_type="application/pdf",
        headers={"Content-Disposition": f'attachment; filename="{name}.pdf"'},
    )
