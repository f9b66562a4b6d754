"""What the audit would find the next night is found before the signature: nothing serious passes silently."""

from __future__ import annotations

import datetime as dt
import html
import re
import uuid
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from syllabus.engine.audit.audit import SERIOUS
from syllabus.engine.record import record as engine
from tests.support import factories
from tests.support.cast import IDAS_CERTIFICATE, Cast
from tests.support.lessons import AT, accepted, content, draft, flown, sign
from training import models, record
from training.ledger.models import Entry
from training.reports import audit
from training.services.audit import finding_json, findings
from training.services.lessons import lesson_content, lesson_findings, sign_offs
from training.services.lessons.lesson_content import LessonError
from training.services.lessons.lesson_findings import Accepted, OpenFindings

PASSWORD = "a long way round the pattern"
NIGHT = dt.timedelta(hours=14)
SOLO = {"times": {"total": "1.4 h", "solo": "1.4 h"}}
Told = list[tuple[str, str, str]]


def found(lesson: models.LessonRecord, by: models.User, at: dt.datetime = AT) -> list[dict[str, Any]]:
    return lesson_findings.of(lesson, lesson_content.read(lesson.content), by, at)


def at_night(lesson: models.LessonRecord) -> Told:
    """What the nightly audit says of a signed lesson's entries."""
    school, at = lesson.student.school, AT + NIGHT
    return sorted(
        (each.found.kind, each.found.severity, each.found.says)
        for each in audit.audit(school, school.day(at), at=at)
        if any(str(lesson.pk) in entry for entry in each.found.entries)
        and not each.found.kind.startswith("lesson-")
    )


def told(found: list[dict[str, Any]]) -> Told:
    return sorted((each["kind"], each["severity"], each["says"]) for each in found)


def sealed(lesson: models.LessonRecord) -> dict[str, Any]:
    """What the ledger has of a signature."""
    signed = models.SignOff.objects.get(lesson=lesson)
    leaf = Entry.objects.select_related("kept").get(tree=signed.ledger_tree, index=signed.ledger_index)
    body: dict[str, Any] = leaf.kept.value
    return body


def unsealed(lesson: models.LessonRecord) -> bool:
    lesson.refresh_from_db()
    return lesson.state == "draft" and not models.SignOff.objects.filter(lesson=lesson).exists()


def test_an_illegal_solo_is_not_signed_without_a_word(people: Cast) -> None:
    models.Student.objects.filter(pk=people.sam.pk).update(birth_date=dt.date(2011, 9, 1))
    people.sam.refresh_from_db()
    lesson = draft(people, flown(**SOLO))
    with pytest.raises(OpenFindings, match="need a reason") as refused:
        sign(lesson, people.ida, accepted=Accepted())
    says = " ".join(each["says"] for each in refused.value.found if each["severity"] == SERIOUS)
    assert "61.83" in says  # at least 16 years old
    assert "61.23(a)(3)" in says  # a medical certificate
    assert "61.3(a)" in says  # a student pilot certificate
    assert "61.87(n)" in says  # the endorsement
    assert refused.value.facts["findings_hash"] == lesson_findings.hash_of(refused.value.found)
    assert unsealed(lesson)


@pytest.mark.parametrize("times", [SOLO["times"], {"total": "1.4 h", "dual": "1.4 h"}], ids=["solo", "dual"])
def test_the_sheet_says_what_the_nightly_audit_says(people: Cast, times: dict[str, str]) -> None:
    factories.recorded(
        people.sam,
        documents=(engine.Document("m", "medical", issued=dt.date(2019, 3, 1), klass="third"),),
    )
    lesson = draft(people, flown(times=times))
    before = told(found(lesson, people.ida))
    sign(lesson, people.ida)
    assert before == at_night(lesson)
    assert bool(before) == ("solo" in times)


def test_a_reason_without_the_findings_is_none(people: Cast) -> None:
    lesson = draft(people, flown(**SOLO))
    for said in (
        Accepted("", "I know."),
        Accepted(accepted(lesson, people.ida).digest, ""),
        Accepted(accepted(lesson, people.ida).digest, " \n"),
        Accepted("sha256:" + "0" * 64, "I know."),
    ):
        with pytest.raises(OpenFindings):
            sign(lesson, people.ida, accepted=said)
    with pytest.raises(LessonError, match="2001 characters"):
        sign(lesson, people.ida, accepted=Accepted(accepted(lesson, people.ida).digest, "x" * 2001))
    assert unsealed(lesson)


def test_findings_that_changed_since_they_were_read_are_shown_again(people: Cast) -> None:
    lesson = draft(people, flown(**SOLO))
    read = accepted(lesson, people.ida)
    medical = engine.Document("m", "medical", issued=dt.date(2026, 2, 1), klass="third")
    record.add(people.sam, "documents", medical, at=AT - dt.timedelta(hours=1))
    with pytest.raises(OpenFindings, match="changed after you read them") as refused:
        sign(lesson, people.ida, accepted=read)
    assert refused.value.facts["findings_hash"] != read.digest
    again = Accepted(refused.value.facts["findings_hash"], read.reason)
    assert sign(lesson, people.ida, accepted=again).findings == refused.value.found


def test_reason_and_findings_are_sealed_with_the_signature(people: Cast) -> None:
    lesson = draft(people, flown(**SOLO))
    signed = sign(lesson, people.ida, accepted=Accepted(accepted(lesson, people.ida).digest, " He knew it. "))
    body = sealed(lesson)
    assert (body["findings_reason"], body["findings"]) == ("He knew it.", signed.findings)
    assert signed.findings_reason == "He knew it."
    assert {each["severity"] for each in signed.findings} >= {SERIOUS}


def test_a_lawful_lesson_needs_no_reason_and_keeps_none(people: Cast) -> None:
    lesson = draft(people)
    assert found(lesson, people.ida) == []
    signed = sign(lesson, people.ida, accepted=Accepted("", "For no reason."))
    assert (signed.findings, signed.findings_reason) == ([], "")
    assert "findings" not in sealed(lesson)


def test_a_correction_to_solo_is_asked_about_like_any_lesson(people: Cast) -> None:
    lesson = draft(people)
    sign(lesson, people.ida)
    lesson.refresh_from_db()
    more = {"by": people.ida, "at": AT, "via": "api", "reason": "He was alone."}
    mended = sign_offs.correct(lesson, id=uuid.uuid4(), content=flown(**SOLO), **more)
    with pytest.raises(OpenFindings):
        sign(mended, people.ida, accepted=Accepted())
    before = told(found(mended, people.ida))
    sign(mended, people.ida)
    assert before == at_night(mended)


def test_a_correction_that_takes_training_away_says_what_rested_on_it(people: Cast) -> None:
    lesson = draft(people)
    sign(lesson, people.ida)
    lesson.refresh_from_db()
    trained = engine.Endorsement(
        "e",
        "solo-90-day",
        dt.date(2026, 3, 2),
        instructor=engine.Instructor("Ida Example", IDAS_CERTIFICATE),
        aircraft_model="C172",
        training_date=dt.date(2026, 3, 2),
    )
    record.add(people.sam, "endorsements", trained, at=AT)
    more = {"by": people.ida, "at": AT, "via": "api", "reason": "It was another day."}
    earlier = content(flight=None, ground={**content()["ground"], "date": "2026-03-01"})
    mended = sign_offs.correct(lesson, id=uuid.uuid4(), content=earlier, **more)
    assert "endorsement-untrained" in {each["kind"] for each in found(mended, people.ida)}


@pytest.fixture
def craft(people: Cast) -> models.Aircraft:
    """The aircraft of every lesson here, whose annual inspection ended the day before."""
    made = factories.aircraft(people.school, registration="N00XY")
    done = {"kind": "annual-inspection", "done": dt.date(2025, 2, 1), "recorded_at": AT, "by": people.ada}
    models.AircraftCheck.objects.create(school=people.school, aircraft=made, **done)
    return made


def test_a_dual_lesson_in_an_aircraft_with_an_overdue_annual_is_asked_about(
    people: Cast, craft: models.Aircraft
) -> None:
    lesson = draft(people)
    with pytest.raises(OpenFindings) as refused:
        sign(lesson, people.ida, accepted=Accepted())
    [hit] = refused.value.found
    assert (hit["kind"], hit["severity"]) == ("aircraft-papers", SERIOUS)
    assert hit["citations"] == ["14 CFR 91.409(a)"]
    sign(lesson, people.ida)
    assert at_night(lesson) == told([hit])


def test_a_lesson_in_a_grounded_aircraft_is_asked_about(people: Cast) -> None:
    craft = factories.aircraft(people.school, registration="n00xy")
    at = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    models.Grounding.objects.create(
        school=people.school, aircraft=craft, kind="grounded", reason="Brakes.", at=at, by=people.ada
    )
    lesson = draft(people)
    with pytest.raises(OpenFindings, match="need a reason") as refused:
        sign(lesson, people.ida, accepted=Accepted())
    assert ["Brakes." in each["says"] for each in refused.value.found] == [True]
    sign(lesson, people.ida)
    assert at_night(lesson) == told(refused.value.found)


def test_an_instructor_beyond_eight_hours_reads_it_before_the_signature(people: Cast) -> None:
    day = dt.datetime(2026, 3, 2, 6, tzinfo=dt.timezone(dt.timedelta(hours=-6)))
    lessons = []
    for start, hours in ((0, 4), (5, 5)):
        off, on = day + dt.timedelta(hours=start), day + dt.timedelta(hours=start + hours)
        times = {"total": f"{hours} h", "dual": f"{hours} h"}
        said = flown(off=off.isoformat(), on=on.isoformat(), times=times)
        lessons.append(draft(people, said))
        if start == 0:
            sign(lessons[0], people.ida)
    [hit] = [each for each in found(lessons[1], people.ida) if each["kind"] == "training-hours"]
    assert hit["severity"] == SERIOUS
    assert "61.195(a)" in hit["citations"][0]
    sign(lessons[1], people.ida)
    assert told([hit])[0] in at_night(lessons[1])


def test_offline_signatures_are_asked_too(people: Cast) -> None:
    """A signature made without the server's check arrives without its findings."""
    lesson = draft(people, flown(**SOLO))
    with pytest.raises(OpenFindings):
        sign(lesson, people.ida, performed_at=AT - dt.timedelta(hours=3), accepted=Accepted())
    signed = sign(lesson, people.ida, performed_at=AT - dt.timedelta(hours=3))
    assert signed.performed_at == AT - dt.timedelta(hours=3)


def test_the_same_signature_again_is_not_asked_again(people: Cast) -> None:
    lesson = draft(people, flown(**SOLO))
    first = sign(lesson, people.ida)
    assert sign(lesson, people.ida, accepted=Accepted()).pk == first.pk


def test_the_finding_of_the_night_shows_the_reason(people: Cast, client: Client) -> None:
    lesson = draft(people, flown(**SOLO))
    sign(lesson, people.ida, accepted=Accepted(accepted(lesson, people.ida).digest, "He did not ask me."))
    night = AT + NIGHT
    findings.recompute(people.school, people.school.day(night), at=night, by=None, via="command")
    [row] = models.Finding.objects.filter(kind="solo-first")
    assert (row.severity, row.gone_at) == (SERIOUS, None)  # the reason resolves nothing
    told = {each["kind"]: each["signed_reason"] for each in finding_json.listed([row])}
    assert told == {"solo-first": "Ida Example: He did not ask me."}
    client.force_login(people.ada)
    page = client.get(reverse("finding", args=[row.ref])).content.decode()
    assert "Signed all the same." in page
    assert "He did not ask me." in page


def test_the_sign_page_shows_them_and_wants_the_reason(people: Cast, client: Client) -> None:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    client.force_login(people.ida)
    lesson = draft(people, flown(**SOLO))
    path = reverse("lesson-sign", args=[people.sam.ref, lesson.pk])
    with time_machine.travel(AT, tick=False):
        sheet = client.get(reverse("lesson-sheet", args=[people.sam.ref, lesson.pk])).content.decode()
        page = client.get(path).content.decode()
        [says] = [each["says"] for each in found(lesson, people.ida) if each["kind"] == "solo-first"]
        assert html.escape(says) in sheet
        assert html.escape(says) in page
        assert "14 CFR 61.87(n)" in says
        digest = re.search(r'name="findings_hash" value="([^"]+)"', page)
        assert digest is not None
        sent = {"content_hash": lesson.content_hash, "confirm_password": PASSWORD}
        for missing in ({}, {"findings_hash": digest[1]}, {"findings_reason": "He did not ask."}):
            refused = client.post(path, {**sent, **missing})
            assert refused.status_code == 422
            assert "This lesson has findings that need a reason." in refused.content.decode()
            assert unsealed(lesson)
        done = client.post(
            path, {**sent, "findings_hash": digest[1], "findings_reason": "He did not ask."}, follow=True
        )
    assert "<strong>Signed all the same:</strong> He did not ask." in done.content.decode()
    assert html.escape(says) in done.content.decode()


def test_the_api_answers_a_draft_with_them_and_refuses_without_the_reason(people: Cast) -> None:
    people.ida.set_password(PASSWORD)
    people.ida.save()
    client = APIClient()
    client.force_authenticate(people.ida)
    url = f"/api/v1/students/{people.sam.ref}/lesson-records"
    with time_machine.travel(AT, tick=False):
        said = {"id": str(uuid.uuid4()), "lesson": "S1-L3", "content": flown(**SOLO)}
        made = client.post(url, said, format="json").json()
        assert {"solo-first", "solo-cross-country"} <= {each["kind"] for each in made["findings"]}
        sent = {"content_hash": made["content_hash"], "confirm_password": PASSWORD}
        sign_it = f"{url}/{made['id']}/sign"
        refused = client.post(sign_it, sent, format="json")
        assert refused.status_code == 409
        assert refused.json()["findings"] == made["findings"]
        assert refused.json()["findings_hash"] == made["findings_hash"]
        why = {"findings_hash": made["findings_hash"], "findings_reason": "He did not ask."}
        done = client.post(sign_it, {**sent, **why}, format="json")
        assert (done.status_code, done.json()["findings_reason"]) == (200, "He did not ask.")
        assert done.json()["findings"] == made["findings"]


def released(people: Cast, off: dt.datetime, **craft: str) -> None:
    """A release of Sam that Ida signed half an hour before, in effect for two hours."""
    at = off - dt.timedelta(minutes=30)
    asked = models.SoloRelease.objects.create(
        school=people.school, student=people.sam, by=people.ida, at=at, flight={"aircraft": craft}
    )
    models.ReleaseDecision.objects.create(
        school=people.school,
        student=people.sam,
        release=asked,
        by=people.ida,
        at=at,
        decision="released",
        answer={"lines": []},
        ends_at=at + dt.timedelta(hours=2),
        ledger_index=0,
    )


@pytest.mark.parametrize(
    ("hours", "registration", "says"),
    [
        (0, "n00xy", ""),
        (0, "N99ZZ", "it was given for N99ZZ"),
        (-3, "N00XY", "the release was not in effect then"),
        (-48, "N00XY", "no release is on record"),
    ],
)
def test_a_solo_flight_outside_its_release_says_so(
    people: Cast, hours: int, registration: str, says: str
) -> None:
    lesson = draft(people, flown(**SOLO))
    assert "solo-unreleased" not in {
        each["kind"] for each in found(lesson, people.ida)
    }  # not in use here yet
    off = dt.datetime(2026, 3, 2, 19, tzinfo=dt.UTC) + dt.timedelta(hours=hours)
    released(people, off, registration=registration)
    own = [each for each in found(lesson, people.ida) if each["kind"] == "solo-unreleased"]
    hits = [each["says"] for each in own]
    assert [says in each for each in hits] == ([True] if says else [])
    assert lesson_findings.serious(own) is bool(says)  # a reason is asked for
    sign(lesson, people.ida)
    assert [each for kind, _, each in at_night(lesson) if kind == "solo-unreleased"] == hits
