"""The forms of the instructor's pages. ``sheet`` reads the rows of a lesson sheet itself."""

import json
from typing import Any

from django import forms
from django.utils.translation import gettext

from training.web.shared.forms import Form, Lines, Text


class Begin(Form):
    """Start a draft: a lesson of the course, or a free one."""

    id = forms.UUIDField()
    lesson = Text("")
    own = Text("")


class Correct(Form):
    id = forms.UUIDField()
    reason = Lines("")


class Give(Form):
    """The endorsement as the page showed it before the signature."""

    id = forms.UUIDField()
    endorsement = Text("")
    judgement = Lines("")

    def clean_endorsement(self) -> dict[str, Any]:
        try:
            said = json.loads(self.cleaned_data["endorsement"])
        except (ValueError, RecursionError):
            said = None
        if not isinstance(said, dict):
            raise forms.ValidationError(gettext("is not readable; reload the page"))
        return said
