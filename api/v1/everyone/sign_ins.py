"""Events of the caller's sign-in, and of those of a school's people."""

import datetime as dt
from http import HTTPStatus
from typing import Any

from api.v1.base.description import CURSOR, Answer, Parameter, describe
from api.v1.base.errors import Problem
from api.v1.base.field_types import INSTANT, SLUG, STRING, word
from api.v1.base.pages import Pages, PageSerializer
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from training.models import SignInEvent
from training.services.people import sign_ins


class SignInEventSerializer(ResponseSerializer):
    """What happened to an account's sign-in."""

    at = Field(INSTANT)
    person = Field(STRING, source="user.email")
    what = Field(word(SignInEvent.What.values, "event"))
    about = Field(STRING, "Which second factor, or what became of a role; may be empty.")
    by = Field(STRING, "Another person who did it.", source="by.email", allow_null=True)
    school = Field(STRING, "Of an event about a role.", source="school.slug", allow_null=True)
    via = Field(word(("web", "api", "command"), "way"))
    ip = Field(STRING, allow_null=True)
    program = Field(STRING, "As the browser or program names itself.")


class SignInEventPageSerializer(PageSerializer):
    events = SignInEventSerializer(many=True)


class EventPages(Pages):
    """Fifty events a page, the newest first."""

    ordering = "-at"

    def position(self, text: str) -> dt.datetime:
        return dt.datetime.fromisoformat(text)


class SignInEvents(View):
    query = (Parameter.asked("school", "A school that the caller administers.", SLUG), CURSOR)

    @describe(
        "listSignInEvents",
        "List sign-in events",
        Answer(SignInEventPageSerializer, "A page"),
        words={"days": sign_ins.KEPT.days},
        refuses=(403,),
    )
    def get(self) -> Any:
        """The caller's own, or, with `school`, those of that school's people, for its administrators. Kept
        for %(days)s days.
        """
        found = sign_ins.seen(self.user, self.asked["school"])
        if found is None:
            raise Problem(HTTPStatus.FORBIDDEN, "You do not administer a school of that name.")
        page = EventPages(found, self.request)
        return {**page.links, "events": page.rows}
