"""The forms of an instructor's pages; the rows of a lesson's sheet have a reader of their own, ``sheet``."""

import json
from typing import Any

from django import forms
from django.utils.translation import gettext

from training.web.shared.forms import Form, Lines, Text


class Begin(Form):
    """The draft of a lesson: of the course, or of one's own."""

    id = forms.UUIDField()
    lesson = Text("")
    own = Text("")


class Correct(Form):
    id = forms.UUIDField()
    reason = Lines("")


class Give(Form):
    """An endorsement as it was shown before the signature."""

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
