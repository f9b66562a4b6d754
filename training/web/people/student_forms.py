"""The forms on a student's page: assign an instructor, enroll, end, add a guardian's consent."""

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from training.models import Role, School, User
from training.services.people import people
from training.web.shared.forms import Choice, Day, Form, Text


class Assign(Form):
    refused_at = "instructor"

    instructor = Choice(_("Instructor"))

    def __init__(self, data: Any = None, *, school: School, today: dt.date) -> None:
        super().__init__(data, initial={"from": today})
        teaching = User.objects.filter(roles__school=school, roles__role=Role.Kind.INSTRUCTOR)
        self.instructors = {str(each.pk): each for each in teaching.order_by("name", "pk")}
        self.offer("instructor", self.instructors.items())

    def clean_instructor(self) -> User:
        found = self.instructors.get(self.cleaned_data["instructor"])
        if found is None:
            raise forms.ValidationError(_("choose one of the school's instructors"))
        return found


#: "from" is a Python keyword.
Assign.base_fields["from"] = Day(_("From (such as 2026-11-29)"), required=True)


class Enrol(Form):
    places = {"version": "course"}
    refused_at = "course"

    id = forms.UUIDField(required=False, widget=forms.HiddenInput)
    course = Choice(_("Course"))
    starts = Day(_("From (such as 2026-11-29)"), required=True)

    def __init__(self, data: Any = None, *, courses: Iterable[tuple[str, str]], today: dt.date) -> None:
        super().__init__(data, auto_id="enrol-%s", initial={"id": uuid.uuid4(), "starts": today})
        self.offer("course", courses)


class EndEnrolment(Form):
    refused_at = "ends"

    ends = Day(_("Last day (such as 2026-11-29)"), required=True)

    def __init__(self, data: Any = None, *, enrolment: uuid.UUID, today: dt.date) -> None:
        super().__init__(data, auto_id=f"%s-{enrolment}", initial={"ends": today})
        self.enrolment = enrolment


class Account(Form):
    email = Text(_("E-mail address"), required=True, widget=forms.EmailInput(attrs={"autocomplete": "off"}))

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="account-%s")


class Consent(Form):
    places = {"email": "guardian_email"}

    guardian_name = Text(_("Name"), required=True, max_length=people.MOST_NAME)
    guardian_email = Text(
        _("E-mail address"), required=True, widget=forms.EmailInput(attrs={"autocomplete": "off"})
    )
    consent_on = Day(_("Consent given on (such as 2026-11-29)"), required=True)
    consent_until = Day(_("Valid through (blank: no end date)"))

    def __init__(self, data: Any = None, *, today: dt.date) -> None:
        super().__init__(data, initial={"consent_on": today})
