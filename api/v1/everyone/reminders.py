"""Reminders: one's own, settings, calendar link; and the upcoming ones of a school."""

import datetime as dt
import re
import uuid
from dataclasses import replace
from http import HTTPStatus
from typing import Any

from django.conf import settings

from api.v1.base.description import SCHOOL, Answer, describe
from api.v1.base.errors import Problem, not_found
from api.v1.base.field_types import DAY, FLAG, INSTANT, STRING, UUID, WHOLE, keyed, like, list_of, word
from api.v1.base.serializers import Field, RequestSerializer, ResponseSerializer
from api.v1.base.views import View
from api.v1.student.students import StudentNamedSerializer
from syllabus.engine.errors import InputError
from syllabus.engine.record import reading
from syllabus.engine.record.json_schema import or_null
from syllabus.engine.record.reading import Errors, Object
from syllabus.engine.record.shapes import Type
from syllabus.engine.time.instants import in_utc
from training.models import Reminder, School
from training.models.watching.reminders import MOST_LEAD
from training.services import access
from training.services.reminders import calendars, coming, failures, leads, preferences

_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])", re.ASCII)


class PreferencesError(InputError):
    what = "the preferences"


def clock(errors: Errors, value: Any, place: str) -> dt.time | None:
    """A time of day, ``HH:MM``."""
    if isinstance(value, str) and (found := _CLOCK.fullmatch(value)):
        return dt.time(int(found[1]), int(found[2]))
    errors.add(place, f"{reading.called(value)} is not a time of day such as 07:00")
    return None


def lead_days(errors: Errors, value: Any, place: str) -> list[int] | None:
    """Lead times, each a whole number of days."""
    if isinstance(value, list) and all(type(each) is int for each in value):
        return value
    errors.add(place, f"{reading.called(value)} is not a list of days such as [60, 30, 7]")
    return None


def _days(errors: Errors, value: Any, place: str) -> dict[str, Any]:
    """Lead times by kind; None for the default."""
    named = Object(errors, {} if value is None else value, place)
    days = {kind: named.take(kind, lead_days) for kind in leads.DEFAULTS}
    named.done()
    return {kind: each for kind, each in days.items() if named.ok and kind in value} if value else {}


KIND = word(leads.DEFAULTS, says="What kind of thing expires.")
CLOCK = Type(clock, {"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$", "examples": ["07:00"]})
DAYS = Type(
    lead_days,
    {
        "type": "array",
        "items": {"type": "integer", "minimum": 0, "maximum": MOST_LEAD},
        "uniqueItems": True,
        "examples": [[60, 30, 7]],
    },
)
NULL_DAYS = Type(lead_days, or_null(DAYS.schema))


class AircraftNamedSerializer(ResponseSerializer):
    registration = Field(STRING)
    model = Field(STRING)


class ReminderSerializer(ResponseSerializer):
    ref = Field(UUID, source="reminder.ref")
    student = StudentNamedSerializer(
        source="reminder.student",
        allow_null=True,
        help_text="Null for your own dates and for aircraft.",
    )
    aircraft = AircraftNamedSerializer(source="reminder.aircraft", allow_null=True)
    school = Field(STRING, source="reminder.school.slug")
    kind = Field(KIND, source="reminder.kind")
    says = Field(STRING, source="reminder.says")
    citations = Field(list_of(STRING), source="reminder.citations")
    last_day = Field(DAY, source="reminder.last_day")
    lead_days = Field(WHOLE, source="reminder.lead_days")
    ends = Field(
        list_of(STRING),
        "The milestones for which this expires first.",
        of=lambda own: [each["title"] for each in own.reminder.ends],
    )
    made_at = Field(INSTANT, of=lambda own: in_utc(own.reminder.created_at))
    read_at = Field(INSTANT, of=lambda own: own.read_at and in_utc(own.read_at), allow_null=True)
    snoozed_until = Field(DAY, allow_null=True)


class ReminderListSerializer(ResponseSerializer):
    reminders = ReminderSerializer(many=True)


class ReminderSnoozeSerializer(RequestSerializer):
    error = coming.SnoozeError

    until = Field(DAY)


class ReminderPreferencesSerializer(RequestSerializer):
    error = PreferencesError

    time_zone = Field(like(STRING, examples=["America/Chicago"]), required=False)
    language = Field(Type(reading.text, word(dict(settings.LANGUAGES)).schema), required=False)
    email = Field(FLAG, required=False)
    quiet_from = Field(CLOCK, required=False)
    quiet_until = Field(CLOCK, required=False)


class CalendarAddressSerializer(ResponseSerializer):
    address = Field(like(STRING, format="uri"))


class ComingReminderSerializer(ResponseSerializer):
    on = Field(DAY, source="day")
    lead_days = Field(WHOLE, source="lead")
    last_day = Field(DAY)
    kind = Field(KIND)
    says = Field(STRING)
    citations = Field(list_of(STRING))
    student = StudentNamedSerializer(allow_null=True)
    instructor = Field(STRING, allow_null=True)
    aircraft = AircraftNamedSerializer(allow_null=True)


class NotSentSerializer(ResponseSerializer):
    id = Field(UUID)
    kind = Field(STRING)
    to = Field(STRING)
    attempts = Field(WHOLE)
    fault = Field(STRING)
    made_at = Field(INSTANT)


class NotWorkedOutSerializer(ResponseSerializer):
    student = StudentNamedSerializer()
    attempts = Field(WHOLE)
    fault = Field(STRING)


class ComingRemindersSerializer(ResponseSerializer):
    school = Field(STRING)
    days = Field(WHOLE)
    coming = ComingReminderSerializer(many=True)
    not_sent = NotSentSerializer(many=True)
    not_worked_out = NotWorkedOutSerializer(many=True)


class LeadTimesSerializer(ResponseSerializer):
    school = Field(STRING)
    days = Field(keyed(leads.DEFAULTS, DAYS, all_of_them=True))


class LeadTimesToSetSerializer(RequestSerializer):
    error = leads.LeadTimesError

    school = Field(STRING, required=False)
    days = Field(replace(keyed(leads.DEFAULTS, NULL_DAYS), read=_days))


class Reminders(View):
    @describe("listReminders", "List your reminders", Answer(ReminderListSerializer, "The reminders"))
    def get(self) -> Any:
        """What expires soon, of yourself and of your students, most urgent first; of one thing only the
        newest reminder. The reading is logged.
        """
        reminders = coming.own(self.user, self.at, via="api")
        return {"reminders": reminders}


class ReminderView(View):
    """One of the caller's reminders; 404 for anyone else."""

    def find(self, ref: uuid.UUID) -> Reminder:
        """Raises: Problem (404)."""
        return coming.find(self.user, ref, self.at)


class ReminderRead(ReminderView):
    @describe("readReminder", "Dismiss a reminder", Answer(ReminderSerializer, "The reminder"))
    def post(self, ref: uuid.UUID) -> Any:
        """Sending it again changes nothing."""
        return coming.mark_read(self.user, self.find(ref), self.at)


class ReminderSnooze(ReminderView):
    @describe(
        "snoozeReminder",
        "Postpone a reminder",
        Answer(ReminderSerializer, "The reminder"),
        body=ReminderSnoozeSerializer,
    )
    def post(self, ref: uuid.UUID) -> Any:
        """You get the reminder again on the day `until`, which must be after today and not after the last
        day. Other recipients are not affected.
        """
        reminder = self.find(ref)
        until = self.sent()["until"]
        return coming.snooze(self.user, reminder, until, self.at)


class Preferences(View):
    @describe(
        "reminderPreferences",
        "Show your notification settings",
        Answer(ReminderPreferencesSerializer, "The preferences"),
    )
    def get(self) -> Any:
        """The defaults until you change them."""
        return preferences.as_json(preferences.of(self.user))

    @describe(
        "setReminderPreferences",
        "Change your notification settings",
        Answer(ReminderPreferencesSerializer, "The preferences"),
        body=ReminderPreferencesSerializer,
    )
    def put(self) -> Any:
        """A missing key goes back to its default. Between `quiet_from` and `quiet_until` on your clock no
        e-mail is sent; the same time twice means no quiet hours. Without `time_zone` the clock is the
        school's.
        """
        sent = self.sent()
        told = {key: value for key, value in sent.items() if value is not None}
        return preferences.as_json(preferences.set_for(self.user, **told))


class CalendarAddress(View):
    @describe(
        "createCalendar",
        "Create a calendar link",
        Answer(CalendarAddressSerializer, "The link, shown once", status=201),
    )
    def post(self) -> Any:
        """A secret iCalendar link (RFC 5545) with your expirations, shown only once. Anyone who has the link
        can read them. A new link replaces the old one.
        """
        secret = calendars.create(self.user, self.at)
        return {"address": calendars.address(secret)}

    @describe("closeCalendar", "Turn off your calendar link", Answer(None, "Turned off", status=204))
    def delete(self) -> Any:
        """The link stops working. Succeeds also if there was none."""
        calendars.revoke(self.user)
        return None


class SchoolView(View):
    """A school that the caller administers."""

    def school(self, slug: str | None) -> School:
        """Raises: Problem (403, 404, 422)."""
        found = access.schools(self.user).order_by("pk")
        if not found:
            raise Problem(HTTPStatus.FORBIDDEN, "Only an administrator of a school may do this.")
        if slug is None:
            if len(found) > 1:
                raise Problem(
                    HTTPStatus.UNPROCESSABLE_ENTITY,
                    f"You administer several schools; name one: {', '.join(each.slug for each in found)}.",
                )
            return found[0]
        for each in found:
            if each.slug == slug:
                return each
        raise not_found("school of that short name")


class Coming(SchoolView):
    query = (SCHOOL,)

    @describe(
        "comingReminders",
        "List a school's reminders of the next 30 days",
        Answer(ComingRemindersSerializer, "Upcoming reminders, and failures"),
        refuses=(403, 404),
    )
    def get(self) -> Any:
        """For administrators: by the records as they are now. Also e-mails that could not be sent, and
        records that could not be calculated, which need attention. The reading is logged for each student.
        """
        school = self.school(self.asked["school"])
        listed = coming.of_school(school, self.at)
        for student in {each.student for each in listed if each.student}:
            access.log(self.user, student, access.READ, "reminders to come", via="api", at=self.at)
        return {
            "school": school.slug,
            "days": coming.DAYS,
            "coming": listed,
            "not_sent": failures.deliveries(school),
            "not_worked_out": failures.records(school),
        }


class LeadTimes(SchoolView):
    query = (SCHOOL,)

    def shown(self, school: School) -> dict[str, Any]:
        lead_times = {kind: list(days) for kind, days in leads.of_school(school).items()}
        return {"school": school.slug, "days": lead_times}

    @describe(
        "leadTimes",
        "Show a school's lead times",
        Answer(LeadTimesSerializer, "The lead times"),
        refuses=(403, 404),
    )
    def get(self) -> Any:
        """Days before the last day, by kind. Defaults are common practice, not law."""
        return self.shown(self.school(self.asked["school"]))

    @describe(
        "setLeadTimes",
        "Set a school's lead times",
        Answer(LeadTimesSerializer, "The lead times"),
        body=LeadTimesToSetSerializer,
        refuses=(403, 404),
    )
    def put(self) -> Any:
        """For each kind in `days` the lead times in days, or null for the default; `[]` sends no reminders.
        Other kinds stay the same. Reminders that were sent are not affected.
        """
        sent = self.sent()
        school = self.school(sent["school"])
        leads.set_several(school, sent["days"], at=self.at)
        return self.shown(school)
