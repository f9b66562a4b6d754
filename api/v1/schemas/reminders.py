"""Reminders, preferences, lead times, guardians; changes since yesterday."""

from __future__ import annotations

from django.conf import settings

from api.v1.schemas.shapes import (
    DAY,
    FLAG,
    INSTANT,
    NAME,
    STRING,
    Schema,
    full,
    listed,
    obj,
    or_null,
    ref,
    word,
)
from training.models.reminders import MOST_LEAD
from training.services.reminders import leads

_UUID: Schema = {"type": "string", "format": "uuid"}
_CLOCK: Schema = {"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$", "examples": ["07:00"]}
_WHOLE: Schema = {"type": "integer", "minimum": 0}
_DAYS: Schema = {
    "type": "array",
    "items": {"type": "integer", "minimum": 0, "maximum": MOST_LEAD},
    "uniqueItems": True,
    "examples": [[60, 30, 7]],
}
_STUDENT = full({"ref": _UUID, "name": STRING})
_SHORT = full(
    {
        "met": {**or_null(FLAG), "description": "Null: a fact that is not on record could tip it."},
        "eligible_until": or_null(DAY),
        "gaps": _WHOLE,
    }
)
_AIRCRAFT = full({"registration": STRING, "model": STRING})


def components() -> dict[str, Schema]:
    kind = word(leads.DEFAULTS, "What kind of thing ends.")
    return {
        "Reminder": full(
            {
                "ref": _UUID,
                "student": {
                    **or_null(_STUDENT),
                    "description": "Null: it is about your own date or an aircraft.",
                },
                "aircraft": or_null(_AIRCRAFT),
                "school": STRING,
                "kind": kind,
                "says": STRING,
                "citations": listed(STRING),
                "last_day": DAY,
                "lead_days": _WHOLE,
                "ends": {**listed(STRING), "description": "The milestones of which this is the first to go."},
                "made_at": INSTANT,
                "read_at": or_null(INSTANT),
                "snoozed_until": or_null(DAY),
            }
        ),
        "ReminderList": full({"reminders": listed(ref("Reminder"))}),
        "ReminderSnooze": obj({"until": DAY}, ["until"]),
        "ReminderPreferences": obj(
            {
                "time_zone": {**or_null(STRING), "examples": ["America/Chicago"]},
                "language": or_null(word(dict(settings.LANGUAGES))),
                "email": or_null(FLAG),
                "quiet_from": or_null(_CLOCK),
                "quiet_until": or_null(_CLOCK),
            }
        ),
        "Turn": full(
            {
                "student": _STUDENT,
                "milestone": STRING,
                "title": STRING,
                "on": DAY,
                "before": {**or_null(_SHORT), "description": "Null: it was not asked about before."},
                "after": _SHORT,
            }
        ),
        "TurnList": full({"turns": listed(ref("Turn")), "caution": STRING}),
        "CalendarAddress": full({"address": {"type": "string", "format": "uri"}}),
        "ComingReminder": full(
            {
                "on": DAY,
                "lead_days": _WHOLE,
                "last_day": DAY,
                "kind": kind,
                "says": STRING,
                "citations": listed(STRING),
                "student": or_null(_STUDENT),
                "instructor": or_null(STRING),
                "aircraft": or_null(_AIRCRAFT),
            }
        ),
        "NotSent": full(
            {
                "id": _UUID,
                "kind": STRING,
                "to": STRING,
                "attempts": _WHOLE,
                "fault": STRING,
                "made_at": INSTANT,
            }
        ),
        "NotWorkedOut": full({"student": _STUDENT, "attempts": _WHOLE, "fault": STRING}),
        "ComingReminders": full(
            {
                "school": STRING,
                "days": _WHOLE,
                "coming": listed(ref("ComingReminder")),
                "not_sent": listed(ref("NotSent")),
                "not_worked_out": listed(ref("NotWorkedOut")),
            }
        ),
        "LeadTimes": full({"school": STRING, "days": full(dict.fromkeys(leads.DEFAULTS, _DAYS))}),
        "LeadTimesToSet": obj(
            {"school": or_null(STRING), "days": obj(dict.fromkeys(leads.DEFAULTS, or_null(_DAYS)))}, ["days"]
        ),
        "Guardian": full({"name": STRING, "email": STRING, "consent_on": DAY, "consent_until": or_null(DAY)}),
        "GuardianList": full(
            {
                "guardians": listed(ref("Guardian")),
                "caution": {**STRING, "description": "Why nothing is sent to any of them; empty if it is."},
            }
        ),
        "GuardianToRecord": obj(
            {"name": NAME, "email": NAME, "consent_on": DAY, "consent_until": or_null(DAY)},
            ["name", "email", "consent_on"],
        ),
    }
