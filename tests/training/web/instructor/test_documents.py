"""An instructor adds the document that a milestone needs, one link from Today, and it counts at once."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from syllabus.engine.record import vocabulary
from tests.support import lessons
from tests.support.browsing import PASSWORD
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.web.test_pages import text_of
from training import models
from training.web.instructor.documents import Add

MEDICAL = {"kind": "medical", "on": "2026-02-10", "klass": "third", "saw": "the certificate, the original"}
TEST = {
    "kind": "pre-solo-knowledge",
    "on": "2026-03-02",
    "result": "pass",
    "score": "92",
    "aircraft_model": "C172",
    "own": "on",
    "saw": "the test, corrected with Sam",
}
NEEDED = "Medical certificate of third class or better"


@kept
def teaching(people: Cast) -> Cast:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    return people


@pytest.fixture
def ida(client: Client, teaching: Cast) -> Any:
    with time_machine.travel(lessons.AT, tick=False):
        client.force_login(teaching.ida)
        yield client


def added(client: Client, people: Cast, sent: dict[str, str], **changed: str) -> Any:
    body = {"id": str(uuid.uuid4()), "confirm_password": PASSWORD, **sent, **changed}
    return client.post(reverse("papers", args=[people.sam.ref]), body)


def test_a_document_is_one_link_from_today_and_counts_at_once(ida: Client, teaching: Cast) -> None:
    page = reverse("papers", args=[teaching.sam.ref])
    today = ida.get("/today/")
    assert f'href="{page}"' in today.content.decode()
    assert NEEDED in text_of(today)
    assert "No documents on record yet." in text_of(ida.get(page))
    assert added(ida, teaching, MEDICAL)["Location"] == page
    assert NEEDED not in text_of(ida.get("/today/"))
    said = text_of(ida.get(page))
    assert "Medical, 10 Feb 2026" in said
    assert "Valid through 28 Feb 2031." in said
    [row] = models.Document.objects.filter(student=teaching.sam)
    assert row.provenance == "attested"
    [change] = models.AccessLog.objects.filter(student=teaching.sam, action="write", what="document medical")
    assert change.user == teaching.ida


def test_a_test_given_by_the_instructor_names_the_instructor(ida: Client, teaching: Cast) -> None:
    assert added(ida, teaching, TEST).status_code == 302
    [row] = models.Test.objects.filter(student=teaching.sam)
    assert (row.kind, row.provenance, row.score) == ("pre-solo-knowledge", "attested", 92)
    assert "Passed the pre-solo knowledge test" not in text_of(ida.get("/today/"))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        pytest.param({"on": ""}, "is blank", id="no day"),
        pytest.param({"on": "2026-03-04"}, "is in the future", id="tomorrow"),
        pytest.param({"klass": ""}, "missing; a medical is one of", id="of no class"),
        pytest.param({"expires": "2026-02-09"}, "is before the day of issue", id="over before it began"),
        pytest.param({"saw": ""}, "is blank", id="nothing seen"),
        pytest.param({"confirm_password": "wrong"}, "password", id="a wrong password"),
        pytest.param({"confirm_password": ""}, "password", id="no password"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_added(
    ida: Client, teaching: Cast, changed: dict[str, str], said: str
) -> None:
    answer = added(ida, teaching, MEDICAL, **changed)
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert not models.Document.objects.filter(student=teaching.sam).exists()


def test_only_the_students_instructors_add_documents(client: Client, teaching: Cast) -> None:
    with time_machine.travel(lessons.AT + dt.timedelta(minutes=1), tick=False):
        for who in (teaching.ada, teaching.olaf, teaching.sams_account, teaching.ottos_account):
            client.force_login(who)
            assert client.get(reverse("papers", args=[teaching.sam.ref])).status_code == 404
            assert added(client, teaching, MEDICAL).status_code == 404
    assert not models.Document.objects.exists()


def test_the_form_offers_every_class_and_result_there_is() -> None:
    fields = Add().fields
    for name, words in (("klass", vocabulary.MEDICAL_CLASSES), ("result", vocabulary.RESULTS)):
        assert [value for value, _ in fields[name].choices if value] == list(words)
