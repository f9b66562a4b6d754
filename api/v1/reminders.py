"""Reminders: one's own, how one wants them, one's calendar; and what a school will be sent."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from http import HTTPStatus
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.v1.description import Answer, Parameter, describe
from api.v1.errors import Problem, not_found
from api.v1.students import StudentView
from api.v1.views import View
from syllabus.engine import reading
from syllabus.engine.errors import FaultsFound
from syllabus.engine.reading import Faults, Object
from training.models import Guardian, Reminder, School
from training.services import access
from training.services.reminders import calendars, coming, failures, guardians, leads, preferences

_REF = Parameter("ref", "path", "The reminder's reference.", {"type": "string", "format": "uuid"}, True)
_SCHOOL = Parameter(
    "school",
    "query",
    "The school's short name; may be left out by who administers one school alone.",
    {"type": "string"},
)
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])", re.ASCII)
_SENT = (400, 401, 406, 411, 413, 415, 422)


class PreferencesError(FaultsFound):
    what = "the preferences"


def clock(faults: Faults, value: Any, place: str) -> dt.time | None:
    """A time of day, ``HH:MM``."""
    if isinstance(value, str) and (found := _CLOCK.fullmatch(value)):
        return dt.time(int(found[1]), int(found[2]))
    faults.add(place, f"{reading.called(value)} is no time of day such as 07:00")
    return None


def lead_days(faults: Faults, value: Any, place: str) -> list[int] | None:
    """Lead times, each a whole number of days."""
    if isinstance(value, list) and all(type(each) is int for each in value):
        return value
    faults.add(place, f"{reading.called(value)} is no list of days such as [60, 30, 7]")
    return None


class Reminders(View):
    """GET: the caller's own reminders."""

    @describe(
        name="listReminders",
        summary="List your reminders",
        description=(
            "What ends soon of yourself and of the students you instruct today, the most pressing first; of "
            "one thing only the newest reminder. The reading is logged."
        ),
        answers={200: Answer("ReminderList", "The reminders")},
        refuses=(401, 406, 422),
    )
    def get(self, request: Request) -> Response:
        return Response({"reminders": [each.as_json() for each in coming.own(self.user, self.at, via="api")]})


class ReminderView(View):
    """About one of the caller's reminders, which is not there for anybody else."""

    def find(self, ref: uuid.UUID) -> Reminder:
        """Raises: Problem (404)."""
        return coming.find(self.user, ref, self.at)


class ReminderRead(ReminderView):
    """POST: it was read."""

    @describe(
        name="readReminder",
        summary="Dismiss a reminder",
        description="The first time stands.",
        parameters=[_REF],
        answers={200: Answer("Reminder", "The reminder")},
        refuses=(401, 404, 406, 422),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        return Response(coming.mark_read(self.user, self.find(ref), self.at).as_json())


class ReminderSnooze(ReminderView):
    """POST: put it off."""

    @describe(
        name="snoozeReminder",
        summary="Postpone a reminder",
        description=(
            "You are told once more on the day `until`, which lies after today and not after the last day. "
            "Others who are told of the same are told as ever."
        ),
        parameters=[_REF],
        body="ReminderSnooze",
        answers={200: Answer("Reminder", "The reminder")},
        refuses=(*_SENT, 404),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        reminder = self.find(ref)
        faults = Faults()
        fields = Object(faults, request.data, "")
        until = fields.take("until", reading.day, required=True)
        fields.done()
        faults.stop(coming.SnoozeError)
        return Response(coming.snooze(self.user, reminder, until, self.at).as_json())


class Preferences(View):
    """GET, PUT: how the caller wants to be told."""

    @describe(
        name="reminderPreferences",
        summary="Show your notification settings",
        description="The defaults where you never said otherwise.",
        answers={200: Answer("ReminderPreferences", "The preferences")},
        refuses=(401, 406, 422),
    )
    def get(self, request: Request) -> Response:
        return Response(preferences.as_json(preferences.of(self.user)))

    @describe(
        name="setReminderPreferences",
        summary="Change your notification settings",
        description=(
            "What is left out goes back to its default. Between `quiet_from` and `quiet_until` on your clock "
            "no e-mail is sent; the same time twice means that there is no such time. Without `time_zone` "
            "the clock is the school's."
        ),
        body="ReminderPreferences",
        answers={200: Answer("ReminderPreferences", "The preferences")},
        refuses=_SENT,
    )
    def put(self, request: Request) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        given = {
            "time_zone": fields.take("time_zone", reading.text),
            "language": fields.take("language", reading.text),
            "email": fields.take("email", reading.flag),
            "quiet_from": fields.take("quiet_from", clock),
            "quiet_until": fields.take("quiet_until", clock),
        }
        fields.done()
        faults.stop(PreferencesError)
        told = {key: value for key, value in given.items() if value is not None}
        return Response(preferences.as_json(preferences.set_for(self.user, **told)))


class CalendarAddress(View):
    """POST, DELETE: the caller's calendar."""

    @describe(
        name="createCalendar",
        summary="Create a calendar link",
        description=(
            "A calendar program reads under it what ends (RFC 5545). Whoever knows the address can read it "
            "too: it is told this once, and drawing another closes the one before."
        ),
        answers={201: Answer("CalendarAddress", "The link, shown once")},
        refuses=(401, 406, 422),
    )
    def post(self, request: Request) -> Response:
        secret = calendars.create(self.user, self.at)
        return Response({"address": calendars.address(secret)}, status=HTTPStatus.CREATED)

    @describe(
        name="closeCalendar",
        summary="Turn off your calendar link",
        description="Nobody can read it any more, whether there was one or not.",
        answers={204: Answer(None, "Turned off")},
        refuses=(401, 406, 422),
    )
    def delete(self, request: Request) -> Response:
        calendars.revoke(self.user)
        return Response(status=HTTPStatus.NO_CONTENT)


class SchoolView(View):
    """About a school that the caller administers."""

    def school(self, slug: str | None) -> School:
        """Raises: Problem (403, 404, 422)."""
        found = access.schools(self.user).order_by("pk")
        if not found:
            raise Problem(HTTPStatus.FORBIDDEN, "Only an administrator of a school may ask this.")
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
    """GET: what will be sent."""

    query = {"school": reading.text}

    @describe(
        name="comingReminders",
        summary="List a school's reminders of the next 30 days",
        description=(
            "As the records stand now, for administrators. Beside it what could not be sent, and records "
            "that could not be worked out: somebody has to look at those. The reading is logged for each "
            "student."
        ),
        parameters=[_SCHOOL],
        answers={200: Answer("ComingReminders", "What will be sent, and what could not be")},
        refuses=(401, 403, 404, 406, 422),
    )
    def get(self, request: Request) -> Response:
        school = self.school(self.asked["school"])
        listed = coming.of_school(school, self.at)
        for student in {each.student for each in listed if each.student}:
            access.log(self.user, student, access.READ, "reminders to come", via="api", at=self.at)
        return Response(
            {
                "school": school.slug,
                "days": coming.DAYS,
                "coming": [each.as_json() for each in listed],
                "not_sent": failures.deliveries(school),
                "not_worked_out": failures.records(school),
            }
        )


class LeadTimes(SchoolView):
    """GET, PUT: how long before a school's people are told."""

    query = {"school": reading.text}

    def shown(self, school: School) -> Response:
        lead_times = {kind: list(days) for kind, days in leads.of_school(school).items()}
        return Response({"school": school.slug, "days": lead_times})

    @describe(
        name="leadTimes",
        summary="Show a school's lead times",
        description=(
            "Days before the last day, by the kind of thing. Those that the school did not set are common "
            "practice, not law."
        ),
        parameters=[_SCHOOL],
        answers={200: Answer("LeadTimes", "The lead times")},
        refuses=(401, 403, 404, 406, 422),
    )
    def get(self, request: Request) -> Response:
        return self.shown(self.school(self.asked["school"]))

    @describe(
        name="setLeadTimes",
        summary="Set a school's lead times",
        description=(
            "For each kind named in `days` the lead times in days, or null for the default ones; `[]` means "
            "that nobody is told. Kinds that are not named stay as they are. What was told already stays."
        ),
        body="LeadTimesToSet",
        answers={200: Answer("LeadTimes", "The lead times")},
        refuses=(*_SENT, 403, 404),
    )
    def put(self, request: Request) -> Response:
        faults = Faults()
        fields = Object(faults, request.data, "")
        slug = fields.take("school", reading.text)
        sent = fields.take("days", _as_it_came, required=True)
        fields.done()
        named = Object(faults, sent if sent is not None else {}, "days")
        days = {kind: named.take(kind, lead_days) for kind in leads.DEFAULTS}
        named.done()
        faults.stop(leads.LeadTimesError)
        school = self.school(slug)
        given = {kind: days[kind] for kind in days if isinstance(sent, dict) and kind in sent}
        leads.set_several(school, given, at=self.at)
        return self.shown(school)


def _as_it_came(faults: Faults, value: Any, place: str) -> Any:
    return value


class Guardians(StudentView):
    """GET, POST: a minor's guardians with their consent."""

    @describe(
        name="listGuardians",
        summary="List a student's guardians",
        description="Those whose consent was recorded, ended ones included. The reading is logged.",
        parameters=[Parameter.student()],
        answers={200: Answer("GuardianList", "The guardians")},
        refuses=(401, 404, 406, 422),
    )
    def get(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "guardians")
        return Response(
            {
                "guardians": [_guardian(each) for each in guardians.listed(student)],
                "caution": guardians.caution(student, student.school.day(self.at)),
            }
        )

    @describe(
        name="recordGuardian",
        summary="Add a guardian's consent",
        description=(
            "The guardian of a minor is then told what ends, too, until the student is of age. One who is on "
            "record under the same e-mail address is changed; `consent_until` takes the consent back."
        ),
        parameters=[Parameter.student()],
        body="GuardianToRecord",
        answers={200: Answer("Guardian", "As it is on record now")},
        refuses=(*_SENT, 403, 404),
    )
    def post(self, request: Request, ref: uuid.UUID) -> Response:
        student = self.open(ref, "guardians")
        if not access.may(self.user, access.WRITE, student, on=self.today):
            raise Problem(HTTPStatus.FORBIDDEN, "You may read this student's record, and not write it.")
        faults = Faults()
        fields = Object(faults, request.data, "")
        given = {
            "name": fields.take("name", reading.name, required=True),
            "email": fields.take("email", reading.name, required=True),
            "consent_on": fields.take("consent_on", reading.day, required=True),
            "consent_until": fields.take("consent_until", reading.day),
        }
        fields.done()
        faults.stop(guardians.GuardianError)
        made = guardians.record(student, **given, by=self.user, at=self.at, via="api")
        return Response(_guardian(made))


def _guardian(guardian: Guardian) -> dict[str, Any]:
    return {
        "name": guardian.name,
        "email": guardian.email,
        "consent_on": guardian.consent_on.isoformat(),
        "consent_until": guardian.consent_until and guardian.consent_until.isoformat(),
    }
