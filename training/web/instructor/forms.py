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
    typed = Text("")
    checked_hash = Text("")
    judgement = Lines("")

    def clean_endorsement(self) -> dict[str, Any]:
        return _object(self.cleaned_data["endorsement"])

    def clean_typed(self) -> dict[str, Any] | None:
        """What is in the fields above the check, if the browser says so."""
        return _object(self.cleaned_data["typed"]) if self.cleaned_data["typed"] else None


def _object(text: str) -> dict[str, Any]:
    try:
        said = json.loads(text)
    except (ValueError, RecursionError):
        said = None
    if not isinstance(said, dict):
        raise forms.ValidationError(gettext("is not readable; reload the page"))
    return said
