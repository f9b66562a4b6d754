"""What the caller is told inside the program."""

from __future__ import annotations

import datetime as dt
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1 import lesson_records
from api.v1.description import Answer, Parameter, describe
from api.v1.views import View
from syllabus.engine import reading
from training.models import Notice
from training.services import notices

PAGE_SIZE = 50


class Pages(lesson_records.Pages):
    """Fifty notices at a time, the newest first."""

    page_size = PAGE_SIZE
    ordering = ("-at", "-id")


class Notices(View):
    """GET: the caller's own notices, in pages."""

    query = {"cursor": reading.text}

    @describe(
        name="listNotices",
        summary="List your notices",
        description=(
            "What the caller is told: a lesson was signed or corrected; the record, or the name or birth "
            "date on it, was changed; something is due. `about` is the id of what it is about. The newest "
            f"first, in pages of {PAGE_SIZE}; follow `next`."
        ),
        parameters=[
            Parameter("cursor", "query", "As `next` or `previous` of a page has it.", {"type": "string"})
        ],
        answers={200: Answer("NoticePage", "A page")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request) -> Response:
        pages = Pages()
        page = pages.paginate_queryset(notices.told(self.user, self.today), request, view=self) or []
        return Response(
            {
                "next": pages.get_next_link(),
                "previous": pages.get_previous_link(),
                "notices": [_shown(each) for each in page],
            }
        )


class NoticeRead(View):
    """POST: it was read."""

    @describe(
        name="markNoticeRead",
        summary="Mark a notice as read",
        description="Notes when the caller read it; sent again, the first time stays. It takes no body.",
        parameters=[Parameter("notice", "path", "The notice's id.", {"type": "integer", "minimum": 0}, True)],
        answers={200: Answer("Notice", "The notice")},
        refuses=(401, 403, 404, 406, 411, 413, 422),
    )
    def post(self, request: Request, notice: int) -> Response:
        return Response(_shown(notices.mark_read(self.user, notice, self.at)))


def _shown(notice: Notice) -> dict[str, Any]:
    return {
        "id": notice.pk,
        "kind": notice.kind,
        "about": notice.about,
        "student": str(notice.student.ref),
        "at": _instant(notice.at),
        "read_at": notice.read_at and _instant(notice.read_at),
    }


def _instant(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
