"""Documents and tests that a student shows: the instructor adds them to the record with the password."""

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.debug import sensitive_post_parameters

from syllabus.engine.errors import Error
from syllabus.engine.record import vocabulary
from training.models import RecordChange
from training.presenters.days import day
from training.presenters.entry import kind_of, sentence, vouched
from training.services import access
from training.services.endorsements import signing_authority
from training.services.records import attesting, documents
from training.web.instructor.opening import Taught, taught
from training.web.shared import signing
from training.web.shared.forms import Checkbox, Choice, Day, Form, Lines, Text
from training.web.shared.opening import show

_CLASSES = [
    ("", gettext_lazy("not a medical")),
    ("first", gettext_lazy("first class")),
    ("second", gettext_lazy("second class")),
    ("third", gettext_lazy("third class")),
]
_RESULTS = [
    ("", gettext_lazy("not a test")),
    ("pass", gettext_lazy("passed")),
    ("fail", gettext_lazy("failed")),
]
#: A field of the record document, by the field of the form where its error is shown.
_OF_DOCUMENT = {"kind": "kind", "issued": "on", "class": "klass", "expires": "expires", "remarks": "remarks"}
_OF_TEST = {
    "kind": "kind",
    "date": "on",
    "result": "result",
    "score": "score",
    "aircraft_model": "aircraft_model",
}


class Add(Form):
    """A document or a test that the instructor has seen."""

    places = {**{value: value for value in _OF_TEST.values()}, "saw": "saw"}

    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    kind = Choice(gettext_lazy("Document or test"))
    on = Day(
        gettext_lazy("Issued, examined or passed on"),
        required=True,
        widget=forms.TextInput(attrs={"type": "date"}),
    )
    klass = Choice(gettext_lazy("Class of the medical"), _CLASSES)
    expires = Day(
        gettext_lazy("Expires"),
        widget=forms.TextInput(attrs={"type": "date"}),
        help_text=gettext_lazy("only if the document itself names a day"),
    )
    result = Choice(gettext_lazy("Result of the test"), _RESULTS)
    score = forms.IntegerField(
        label=gettext_lazy("Score in percent"), required=False, min_value=0, max_value=100
    )
    aircraft_model = Text(gettext_lazy("Model, of a pre-solo test"))
    own = Checkbox(gettext_lazy("I gave this test"))
    remarks = Lines(gettext_lazy("Remarks"))
    saw = Lines(
        gettext_lazy("What you saw"),
        required=True,
        help_text=gettext_lazy("such as: medical certificate, the original"),
    )

    def __init__(self, data: Any = None, *args: Any, **more: Any) -> None:
        super().__init__(data, *args, **more)
        kinds = (*vocabulary.DOCUMENTS, *vocabulary.TESTS)
        self.offer("kind", [(each, sentence(kind_of(each))) for each in kinds])


@sensitive_post_parameters("confirm_password")
@taught("GET", "POST")
def papers(request: HttpRequest, whose: Taught) -> HttpResponse:
    """The documents and tests with what each is good for, and a form to add one."""
    form = Add.bind(request, initial={"aircraft_model": whose.student.training_model})
    if request.method == "POST" and form.submit(lambda **sent: _add(request, whose, sent)):
        messages.success(request, _("Document added to the record."))
        return redirect("papers", ref=whose.student.ref)
    whose.log(access.READ, "documents")
    listed = [_shown(each, good) for _part, each, good in documents.listed(whose.student, whose.today)]
    told = {"student": whose.student, "form": form, "papers": listed}
    return show(request, "training/instructor/documents.html", told, status=form.status)


def _add(request: HttpRequest, whose: Taught, sent: dict[str, Any]) -> documents.Added:
    """Read, re-authenticate, add. Raises: PaperError, with each error at its field of the form."""
    test = sent["kind"] in vocabulary.TESTS
    key, names = ("test", _OF_TEST) if test else ("document", _OF_DOCUMENT)
    said = {name: sent[field] for name, field in names.items() if sent[field] not in ("", None)}
    said = {name: value if isinstance(value, int) else str(value) for name, value in said.items()}
    by = signing_authority.signature(whose.user, whose.student)
    if test and sent["own"] and by is not None:
        said["instructor"] = {"name": by.name, "certificate": by.certificate, "kind": by.kind}
    body, entry = {key: said}, str(sent["id"])
    try:
        documents.read(body, entry, today=whose.today)
    except documents.PaperError as wrong:
        raise documents.PaperError(
            Error(names.get(each.place.partition(".")[2], ""), each.message) for each in wrong.errors
        ) from None
    saw = attesting.saw_of(sent["saw"])
    confirmed = signing.confirm(
        request,
        whose.user,
        lambda _by_passkey: attesting.act(whose.student, entry, body, saw),
        RecordChange.objects.none(),
    )
    return documents.add(whose.student, sent["id"], body, saw=saw, confirmed=confirmed, **whose.acting)


def _shown(paper: documents.Paper, good: list[documents.Good]) -> dict[str, Any]:
    on = paper.issued if hasattr(paper, "issued") else paper.date
    return {
        "title": sentence(kind_of(paper.kind)),
        "day": day(on),
        "vouched": vouched(paper.provenance),
        "good": [
            {
                "says": each.says,
                "citation": each.citation,
                "last": day(each.last),
                "met": each.met,
                "why": each.why,
            }
            for each in good
        ],
    }
