"""The caller's notices inside the program."""

import datetime as dt
from typing import Any

from api.v1.base.description import CURSOR, Answer, describe
from api.v1.base.field_types import STRING, UTC, UUID, WHOLE
from api.v1.base.pages import Pages, PageSerializer
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from training.services.reminders import notices


class NoticePages(Pages):
    """Fifty notices a page, the newest first."""

    ordering = ("-at", "-id")

    def position(self, text: str) -> dt.datetime:
        return dt.datetime.fromisoformat(text)


class NoticeSerializer(ResponseSerializer):
    """A notice."""

    id = Field(WHOLE, source="pk")
    kind = Field(STRING)
    about = Field(STRING, "The id of the lesson, record or reminder.")
    student = Field(UUID, source="student.ref")
    at = Field(UTC)
    read_at = Field(UTC, allow_null=True)


class NoticePageSerializer(PageSerializer):
    notices = NoticeSerializer(many=True)


class Notices(View):
    query = (CURSOR,)

    @describe(
        "listNotices",
        "List your notices",
        Answer(NoticePageSerializer, "A page"),
        words={"page_size": NoticePages.page_size},
        refuses=(404,),
    )
    def get(self) -> Any:
        """Notices of a lesson signed or corrected, of a change of a record or of its name or birth date, and
        of reminders. `about` is the id of the lesson, record or reminder. The newest first, in pages of
        %(page_size)s; follow `next`.
        """
        page = NoticePages(notices.told(self.user, self.today), self.request)
        return {**page.links, "notices": page.rows}


class NoticeRead(View):
    @describe(
        "markNoticeRead",
        "Mark a notice as read",
        Answer(NoticeSerializer, "The notice"),
        refuses=(403, 411, 413),
    )
    def post(self, notice: int) -> Any:
        """Records when the caller read it. Sending it again changes nothing. No body."""
        return notices.mark_read(self.user, notice, self.at)
