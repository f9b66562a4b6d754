"""The instructor's pages without scripts: today, the sheet, the sign-off, the correction, the endorsement."""

from __future__ import annotations

import datetime as dt
import html
import json
import re
import uuid
from typing import Any

import pytest
import time_machine
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse

from syllabus.engine.record import record as engine
from tests.support import courses, factories, lessons
from tests.support.browsing import PASSWORD
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.web.test_pages import text_of
from training import models, record

#: Noon at the school.
NOW = dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC)


@kept
def teaching(people: Cast) -> Cast:
    """Ida has a password, Sam is enrolled in the shipped course, and the school has an airplane."""
    people.ida.set_password(PASSWORD)
    people.ida.save()
    courses.enrolled(people)
    factories.aircraft(people.school, registration="N00XY", model="C172")
    return people


@pytest.fixture
def ida(client: Client, teaching: Cast) -> Any:
    """Ida at her desk, on the day after the lesson."""
    with time_machine.travel(NOW, tick=False):
        client.force_login(teaching.ida)
        yield client


def begun(client: Client, people: Cast) -> models.LessonRecord:
    """The draft of the next lesson, begun from Today."""
    page = client.get("/today/").content.decode()
    found = re.search(r'name="id" value="([^"]+)"><input type="hidden" name="lesson" value="([^"]+)"', page)
    assert found, page
    sent = {"id": found[1], "lesson": found[2]}
    answer = client.post(reverse("lesson-begin", args=[people.sam.ref]), sent)
    record = models.LessonRecord.objects.get()
    assert answer["Location"] == reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    return record


def fields_of(page: str) -> dict[str, str]:
    """The fields of the sheet as a browser would send them."""
    form = page[page.index('<form class="sheet"') :]
    form = form[: form.index("</form>")]
    found: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        attributes = dict(re.findall(r'([a-z-]+)="([^"]*)"', tag))
        kind = attributes.get("type", "text")
        if kind in ("radio", "checkbox") and " checked" not in tag:
            continue
        if "name" in attributes:
            found[attributes["name"]] = html.unescape(attributes.get("value", ""))
    for name, inside in re.findall(
        r'<select[^>]* name="([^"]+)"(?![^>]*multiple)[^>]*>(.*?)</select>', form, re.S
    ):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        found[name] = chosen[1] if chosen else ""
    for name, inside in re.findall(r'<textarea[^>]* name="([^"]+)"[^>]*>(.*?)</textarea>', form, re.S):
        found[name] = html.unescape(inside).removeprefix("\n")  # HTML leaves the first line's end out
    return found


FLIGHT = {
    "flown": "dual",
    "date": "2026-03-02",
    "registration": "n00xy",
    "route": "kgrb kmtw kgrb",
    "off": "13:00",
    "on": "14:24",
    "landing-0-at": "KMTW",
    "landing-0-takeoffs": "3",
    "landing-0-landings": "3",
    "landing-0-period": "day",
    "landing-0-full_stop": "yes",
}


def test_the_job_from_today_to_the_sealed_result_by_plain_forms(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    sheet = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    fields = fields_of(ida.get(sheet).content.decode())
    assert "item-0-grade" not in fields  # no grade is preselected
    answer = ida.post(
        sheet, {**fields, **FLIGHT, "item-0-grade": "practice", "comments": "Well prepared.", "then": "sign"}
    )
    assert answer.status_code == 302, text_of(answer)
    record.refresh_from_db()
    flight = record.content["flight"]
    assert flight["times"] == {"total": "1.4 h", "dual": "1.4 h"}
    assert flight["aircraft"]["registration"] == "N00XY"
    assert flight["aircraft"]["model"] == "C172"
    assert flight["route"] == ["KGRB", "KMTW", "KGRB"]
    assert flight["off"] == "2026-03-02T13:00:00-06:00"

    sign = answer["Location"]
    page = ida.get(sign)
    said = text_of(page)
    for words in (
        "You are about to sign this",
        "3 takeoffs, 3 landings at KMTW by day, full stop",
        "Well prepared.",
        "0000001CFI",
    ):
        assert words in said
    wrong = ida.post(sign, {"content_hash": record.content_hash, "confirm_password": "x"})
    assert wrong.status_code == 422
    assert "Wrong password; nothing was signed" in text_of(wrong)
    assert not models.SignOff.objects.exists()
    done = ida.post(sign, {"content_hash": record.content_hash, "confirm_password": PASSWORD})
    sealed = reverse("lesson-sealed", args=[people.sam.ref, record.pk])
    assert done["Location"] == sealed
    signed = models.SignOff.objects.get()
    assert signed.confirmed == {"by": "password"}
    assert f"Ledger entry {signed.ledger_index}" in text_of(ida.get(sealed))
    assert ida.get(sheet)["Location"] == sealed
    assert ida.get(sign)["Location"] == sealed
    # Sent again, as by somebody who did not see the answer: the same.
    assert (
        ida.post(sign, {"content_hash": record.content_hash, "confirm_password": PASSWORD})["Location"]
        == sealed
    )
    assert models.SignOff.objects.count() == 1


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_out_and_in_are_kept_and_give_the_time_that_is_proposed(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    sheet = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    fields = fields_of(ida.get(sheet).content.decode())
    clock = {"out": "2350", "off": "0003", "on": "0045", "in": "0050"}
    assert ida.post(sheet, {**fields, **FLIGHT, **clock, "then": "keep"}).status_code == 302
    record.refresh_from_db()
    flight = record.content["flight"]
    assert {key: flight[key] for key in clock} == {
        "out": "2026-03-02T23:50:00-06:00",
        "off": "2026-03-03T00:03:00-06:00",
        "on": "2026-03-03T00:45:00-06:00",
        "in": "2026-03-03T00:50:00-06:00",
    }
    assert flight["times"]["total"] == "1.0 h"
    shown = fields_of(ida.get(sheet).content.decode())
    assert {key: shown[key].replace(":", "") for key in clock} == clock
    before = {**shown, "then": "keep", "off": "23:40"}
    assert ida.post(sheet, before).status_code == 422  # takeoff before the first movement: a day later


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_contradiction_is_said_at_its_field_and_nothing_typed_is_lost(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    sheet = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    fields = {**fields_of(ida.get(sheet).content.decode()), **FLIGHT}
    wrong = {"t-total": "1.4", "t-night": "2.0", "route": "KGRB KZZZZ", "off": "25:00", "comments": "Mine."}
    answer = ida.post(sheet, {**fields, **wrong})
    page = answer.content.decode()
    assert answer.status_code == 422
    for field, words in {
        "t-night": "is more than the total",
        "route": "no airport has the identifier",
        "off": "is not a time of day",
    }.items():
        said = page[page.index(f'data-for="{field}"') :].partition("</div>")[0]
        assert words in said.lower().replace("&#x27;", "'"), field
    assert fields_of(page)["comments"] == "Mine."
    assert fields_of(page)["t-night"] == "2.0"
    record.refresh_from_db()
    assert record.content["flight"] is None


def test_the_sheet_says_at_once_what_it_comes_to(ida: Client, people: Cast) -> None:
    given = {**FLIGHT, "route": "KGRB KMSN", "off": "16:30", "on": "19:00", "item-count": "0"}
    told = ida.post(reverse("lesson-check", args=[people.sam.ref]), given).json()
    assert told["errors"] == {}
    assert told["distance"].startswith("KGRB – KMSN ")
    assert told["cross_country"].endswith("more than 50 NM (14 CFR 61.109(a)(1))")
    assert "not more" not in told["cross_country"]
    assert told["proposed"]["t-total"] == "2.5 h"
    assert told["proposed"]["t-dual"] == "2.5 h"
    assert told["proposed"]["t-cross_country"] == "2.5 h"
    assert told["proposed"]["t-night"] == told["night"] != "0.0 h"
    assert not models.LessonRecord.objects.exists()


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_two_who_change_one_draft_do_not_overwrite_each_other(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    sheet = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    fields = {**fields_of(ida.get(sheet).content.decode()), **FLIGHT}
    assert ida.post(sheet, {**fields, "comments": "First."}).status_code == 302
    answer = ida.post(sheet, {**fields, "comments": "Second."})
    assert answer.status_code == 409
    assert "changed elsewhere since you opened it" in text_of(answer)
    again = fields_of(answer.content.decode())
    assert again["comments"] == "Second."
    assert ida.post(sheet, again).status_code == 302
    record.refresh_from_db()
    assert record.content["comments"] == "Second."


def test_items_are_put_on_the_sheet(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    sheet = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    page = ida.get(sheet).content.decode()
    fields = fields_of(page)
    code = re.findall(r'<option value="([^"]+)"', page[page.index('name="add"') :])[0]
    ida.post(sheet, {**fields, "add": [code]})
    record.refresh_from_db()
    assert len(record.content["items"]) == int(fields["item-count"]) + 1
    assert {"item": code, "grade": "not-observed"} in record.content["items"]


def test_a_correction_points_at_what_it_corrects_and_takes_its_place(ida: Client, people: Cast) -> None:
    signed = lessons.signed(people, lesson="1-01")
    sealed = reverse("lesson-sealed", args=[people.sam.ref, signed.pk])
    correct = reverse("lesson-correct", args=[people.sam.ref, signed.pk])
    key = str(uuid.uuid4())
    assert ida.post(correct, {"id": key, "reason": " "})["Location"] == sealed
    assert "Enter a reason for the correction" in text_of(ida.get(sealed))
    draft = ida.post(correct, {"id": key, "reason": "One landing too many."})["Location"]
    assert ida.post(correct, {"id": key, "reason": "One landing too many."})["Location"] == draft
    fields = fields_of(ida.get(draft).content.decode())
    assert ida.post(draft, {**fields, "landing-0-landings": "2", "then": "sign"}).status_code == 302
    record = models.LessonRecord.objects.get(pk=key)
    assert record.content["flight"]["landings"][0]["landings"] == 2
    # What the sheet has no field for, and all else, stays as it was.
    changed = {**record.content["flight"], "landings": signed.content["flight"]["landings"]}
    assert changed == signed.content["flight"]
    assert record.content["items"] == signed.content["items"]
    sign = reverse("lesson-sign", args=[people.sam.ref, key])
    said = text_of(ida.get(sign))
    assert "A correction. One landing too many." in said
    ida.post(sign, {"content_hash": record.content_hash, "confirm_password": PASSWORD})
    assert models.Correction.objects.get().successor == record
    assert "a later lesson replaces this one" in text_of(ida.get(sealed))
    late = ida.post(correct, {"id": str(uuid.uuid4()), "reason": "Once more."}, follow=True)
    assert "was corrected already" in text_of(late)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_students_lessons_are_listed_whether_flown_or_on_the_ground(ida: Client, people: Cast) -> None:
    flown = lessons.signed(people, lessons.content(ground=None), lesson="1-01")
    taught = lessons.signed(people, lessons.content(flight=None), lesson="1-02")
    draft = lessons.draft(people, {"items": []}, lesson="1-03")
    page = ida.get(reverse("teach", args=[people.sam.ref]))
    said = text_of(page)
    for words in (
        "1-01, 2 Mar 2026",
        "1-02, 2 Mar 2026",
        "1-03, started",
        "Next lesson",
        "not available yet",
    ):
        assert words in said
    for each, name in ((flown, "lesson-sealed"), (taught, "lesson-sealed"), (draft, "lesson-sheet")):
        assert reverse(name, args=[people.sam.ref, each.pk]) in page.content.decode()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_student_for_whom_nothing_new_is_open_is_told_as_blocked(ida: Client, people: Cast) -> None:
    """Everything before the first solo is signed, and Sam has neither a medical nor a certificate."""
    stage = courses.private_airplane().stages[0]
    for lesson in (each for each in stage.lessons if not each.times.get("solo")):
        graded = [{"item": code, "grade": "perform"} for code in lesson.items]
        lessons.signed(
            people,
            lessons.flown(times={"total": "1.4 h", "dual": "1.4 h"}) | {"items": graded},
            lesson=lesson.code,
        )
    said = text_of(ida.get("/today/"))
    blocked = re.search(r"Blocked: .*?\. Solo flight is not met: ([0-9]+) requirements? remains?", said)
    assert blocked is not None
    assert "(" not in blocked[0]  # how many requirements, and not which, with their citations

    # The API and the student's page name the first of them, and say how many more there are.
    of_sam = f"/api/v1/students/{people.sam.ref}"
    following = ida.get(f"{of_sam}/progress").json()["next"]
    (words,) = {
        why["words"]
        for lesson in following["blocked"]
        for why in lesson["why"]
        if why["words"].startswith("Solo flight is not met: ")
    }
    more = re.search(r", and ([0-9]+) more$", words)
    assert more is not None
    solo = ida.get(f"{of_sam}/eligibility/faa.first-solo").json()["requirements"]
    # An endorsement, which the instructor gives on the day, blocks nothing.
    unmet = [each for each in solo if each["met"] is False and not each["id"].endswith("-endorsement")]
    assert (int(blocked[1]), int(more[1]) + 1) == (len(unmet), len(unmet))
    assert words in text_of(ida.get(reverse("standing", args=[people.sam.ref])))


def test_an_endorsement_is_looked_at_then_given_then_ended(ida: Client, people: Cast) -> None:
    kind = reverse("endorse-kind", args=[people.sam.ref, "solo-90-day"])
    first = text_of(ida.get(kind))
    assert "Not met The 15 pre-solo maneuvers" in first
    assert "Is missing" not in first
    assert "Fill in the details above. The check runs again with every change." in first
    checked = text_of(ida.get(kind, {"aircraft_model": "C172"}))
    assert "Is missing; this endorsement must name it (14 CFR 61.87(n))" in checked
    assert "You cannot give this endorsement yet. Fix the items marked above." in checked
    asked = {"aircraft_model": "C172", "training_date": "2026-03-03"}
    page = ida.get(kind, {**asked, "expires": "2026-07-01"})
    assert "a limit may be shortened and never lengthened" in text_of(page)
    page = ida.get(kind, {**asked, "expires": "2026-04-01", "conditions": "Wind at most 8 kt."})
    said = text_of(page)
    assert "I trained Sam Example in the C172 on 2026-03-03" in said
    assert "Wind at most 8 kt." in said
    assert "Valid through 1 Apr 2026." in said
    form = page.content.decode()
    sent = {
        "id": re.search(r'name="id" value="([^"]+)"', form)[1],  # type: ignore[index]
        "endorsement": html.unescape(re.search(r'name="endorsement" value="([^"]+)"', form)[1]),  # type: ignore[index]
        "checked_hash": re.search(r'name="checked_hash" value="([^"]+)"', form)[1],  # type: ignore[index]
        "judgement": "Ready.",
    }
    wrong = ida.post(kind, {**sent, "confirm_password": "x"})
    assert "Wrong password; nothing was signed" in text_of(wrong)
    assert not models.EndorsementSeal.objects.exists()
    for _ in range(2):
        done = ida.post(kind, {**sent, "confirm_password": PASSWORD}, follow=True)
        assert "Ledger entry" in text_of(done)
    seal = models.EndorsementSeal.objects.get()
    assert seal.judgement == "Ready."
    assert json.loads(sent["endorsement"])["expires"] == "2026-04-01"

    end = reverse("endorsement-revoke", args=[people.sam.ref, sent["id"]])
    assert end in done.content.decode()
    assert "I trained Sam Example" in text_of(ida.get(end))
    no_reason = ida.post(end, {"reason": " ", "confirm_password": PASSWORD})
    assert no_reason.status_code == 422
    ended = text_of(ida.post(end, {"reason": "Solo put off.", "confirm_password": PASSWORD}, follow=True))
    assert "Endorsement revoked." in ended
    assert "Ends 1 Apr 2026, in 29 days." in text_of(done)
    assert "Revoked on 3 Mar 2026 by Ida Example because: Solo put off." in ended
    assert models.Revocation.objects.count() == 1


def test_what_is_changed_after_the_check_is_not_signed(ida: Client, people: Cast) -> None:
    kind = reverse("endorse-kind", args=[people.sam.ref, "solo-other-airport"])
    asked = {"aircraft_model": "C172", "airport": "KMTW"}
    form = ida.get(kind, asked).content.decode()
    sent = {
        name: html.unescape(re.search(rf'name="{name}" value="([^"]*)"', form)[1])  # type: ignore[index]
        for name in ("id", "endorsement", "checked_hash")
    } | {"confirm_password": PASSWORD, "judgement": "Ready."}
    typed = {**asked, "airport": "KOSH"}
    for spoilt in (
        {"typed": json.dumps(typed)},  # another airport in the field than in the check
        {"endorsement": sent["endorsement"].replace("KMTW", "KOSH")},  # or in what is sent
        {"checked_hash": ""},
        {"checked_hash": "sha256:" + "0" * 64},
    ):
        page = ida.post(kind, {**sent, **spoilt})
        assert page.status_code in (409, 422)
        assert "changed" in text_of(page)
        assert "after the check" in text_of(page)
        assert not models.EndorsementSeal.objects.exists()
    page = ida.post(kind, {**sent, "typed": json.dumps(typed)})
    assert 'value="KOSH"' in page.content.decode()  # the new check is of what was typed
    assert ida.post(kind, {**sent, "typed": "[]"}).status_code == 404
    done = ida.post(kind, {**sent, "typed": json.dumps({**asked, "expires": ""})}, follow=True)
    assert "Ledger entry" in text_of(done)
    assert models.Endorsement.objects.get(kind="solo-other-airport").airport == "KMTW"


def test_what_an_endorsement_rests_on_is_told_by_name(ida: Client, people: Cast) -> None:
    medical = engine.Document("7f1c0a8e", "medical", dt.date(2026, 1, 5), klass="third")
    record.add(people.sam, "documents", medical, at=NOW)
    kind = reverse("endorse-kind", args=[people.sam.ref, "solo-90-day"])
    said = text_of(ida.get(kind))
    assert "Unknown: Medical of 5 Jan 2026: someone who saw the document" in said
    assert "7f1c0a8e" not in said
    assert "presolo.d-" not in said
    assert "19 years" in said  # met: how much there is, not how much of it


def test_a_test_is_chosen_in_words(ida: Client, people: Cast) -> None:
    page = ida.get(reverse("endorse-kind", args=[people.sam.ref, "practical-test"])).content.decode()
    assert '<option value="practical:private-airplane">Practical test, private airplane</option>' in page


def test_today_takes_at_most_a_dozen_queries_however_many_there_are(
    ida: Client, people: Cast, django_assert_max_num_queries: Any
) -> None:
    version = models.Enrolment.objects.get().course_version
    for number in range(30):
        student = factories.student(people.school, taught_by=people.ida, name=f"Pupil {number:02d}")
        models.Enrolment.objects.create(
            school=people.school, student=student, course_version=version, starts=dt.date(2026, 1, 1)
        )
        lessons.draft(people, student=student, at=NOW, lesson="1-01")
    ida.get("/today/")
    with django_assert_max_num_queries(12):
        page = text_of(ida.get("/today/"))
    assert page.count("Another lesson") == 12
    assert models.AccessLog.objects.filter(user=people.ida, what="progress and next lesson").count() == 24


@pytest.mark.any_database  # others here make these queries on SQLite
def test_no_page_takes_more_than_a_dozen_queries(
    ida: Client, people: Cast, django_assert_max_num_queries: Any
) -> None:
    draft, signed = lessons.draft(people, lesson="1-01"), lessons.signed(people, lesson="1-02")
    teach = f"/teach/{people.sam.ref}/"
    #: What the audit reads of the school and of the record, for a lesson that is not signed yet.
    audits = 12
    #: The previous grade and remark beside each item of a sheet.
    previous = 1
    for path, most in (
        (teach, 12),
        (f"{teach}lessons/{draft.pk}/", 12 + audits + previous),
        (f"{teach}lessons/{draft.pk}/sign/", 12 + audits),
        (f"{teach}lessons/{signed.pk}/sealed/", 12),
        (f"{teach}endorse/", 12),
        (f"{teach}endorse/solo-90-day/?aircraft_model=C172&training_date=2026-03-02", 12),
    ):
        ida.get(path)
        with django_assert_max_num_queries(most):
            assert ida.get(path).status_code == 200


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize("who", ["ada", "sams_account", "olaf", "ottos_account"])
def test_the_instructors_pages_are_open_to_the_students_instructors_alone(
    client: Client, people: Cast, who: str
) -> None:
    draft, signed = lessons.draft(people), lessons.signed(people)
    endorsement = str(uuid.uuid4())
    client.force_login(getattr(people, who))
    teach = f"/teach/{people.sam.ref}/"
    for path in (
        teach,
        f"{teach}lessons/{draft.pk}/",
        f"{teach}lessons/{draft.pk}/sign/",
        f"{teach}lessons/{signed.pk}/sealed/",
        f"{teach}endorse/",
        f"{teach}endorse/solo-90-day/",
        f"{teach}endorsements/{endorsement}/revoke/",
    ):
        assert client.get(path).status_code == 404, path
    for path in (f"{teach}lessons/begin/", f"{teach}lessons/check/", f"{teach}lessons/{signed.pk}/correct/"):
        assert client.post(path, {}).status_code == 404, path
    taken = client.get("/tablet/pack/").json()
    assert "Sam" not in json.dumps(taken)


def test_whoever_is_not_signed_in_is_sent_to_the_login(client: Client, people: Cast) -> None:
    every = ("/today/", f"/teach/{people.sam.ref}/", "/tablet/pack/", "/tablet/airports/", "/airports/?q=KG")
    for path in (*every, "/students/"):
        assert client.get(path)["Location"].startswith("/login/?next="), path


def test_the_tablet_takes_no_more_along_than_the_day_needs(ida: Client, people: Cast) -> None:
    lessons.signed(people, lesson="1-01")
    answer = ida.get("/tablet/pack/")
    told = answer.json()
    assert "no-store" in answer["Cache-Control"]
    [sam] = told["students"]
    assert set(sam) == {
        *("ref", "name", "needs", "next", "sheets"),
        *("course", "done", "grades", "signed"),
    }
    text = answer.content.decode()
    for kept_here in ("2006-05-17", "sam@lakeside.example"):
        assert kept_here not in text
    [signed] = sam["signed"]
    assert signed["content"]["comments"] == "Well prepared."
    assert {"KGRB", "KMTW"} <= {each["key"] for each in told["airports"]}
    assert ida.get(f"/tablet/pack/?student={people.sam.ref}").json()["students"][0]["name"] == "Sam Example"
    assert ida.get(f"/tablet/pack/?student={people.otto.ref}").json()["students"] == []
    [blank] = sam["sheets"]
    assert "csrf" not in blank["html"]


def test_the_page_for_the_ramp_and_what_it_is_made_of_hold_nobodys_data(ida: Client, people: Cast) -> None:
    told = ida.get("/manifest.webmanifest")
    assert told["Content-Type"] == "application/manifest+json"
    whole = told.json()
    assert {each["sizes"] for each in whole["icons"]} == {"192x192", "512x512"}
    worker = ida.get("/worker.js")
    assert worker["Content-Type"] == "text/javascript"
    files = json.loads(re.search(r"const FILES = (\[.*\]);", worker.content.decode())[1])  # type: ignore[index]
    for address in (*files, *(each["src"] for each in whole["icons"])):
        if address == "/words/en.js":
            assert "gettext" in ida.get(address).content.decode()
            continue
        assert address.startswith("/static/")
        assert finders.find(address.removeprefix("/static/")), address
    shell = text_of(ida.get("/tablet/"))
    assert "Ida" not in shell
    assert "Sam" not in shell


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("typed", "first"),
    [("kgrb", "KGRB"), ("GRB", "KGRB"), ("manitow", "KMTW"), ("g", None), ("\x00\x00\x00", None)],
    ids=["by its identifier", "by its local one", "by its host name", "one letter is too few", "nonsense"],
)
def test_airports_are_completed(ida: Client, typed: str, first: str | None) -> None:
    keys = [each["key"] for each in ida.get("/airports/", {"q": typed}).json()["airports"]]
    assert len(keys) <= 8
    assert first in keys if first else keys == []


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_the_sheet_offers_the_test_that_the_rules_prepare_for(ida: Client, people: Cast) -> None:
    record = begun(ida, people)
    url = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
    fields = {**fields_of(ida.get(url).content.decode()), **FLIGHT}
    assert "preparation" not in fields
    purpose = "practical-test-preparation:private"
    for sent, stored in ({"preparation": purpose}, [purpose]), ({}, None):
        ida.post(url, {**fields, **sent})
        record.refresh_from_db()
        assert record.content["flight"].get("purposes") == stored
        page = ida.get(url).content.decode()
        assert fields_of(page).get("preparation") == sent.get("preparation")
        assert f'value="{purpose}"' in page
        fields["version"] = str(record.version)
