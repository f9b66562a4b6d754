"""The pages of an audit: who sees them, what they say, how a finding is dealt with."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import Any

import openpyxl
import pytest
from django.test import Client
from pytest_django.live_server_helper import LiveServer

from syllabus.engine.record import record as engine
from tests.support import audits, factories
from tests.support.browsing import PASSWORD, Watched, add_session
from tests.support.cast import Cast
from tests.support.passkeys import Passkey
from tests.training.web.test_pages import text_of
from training import models, pdf
from training.ledger.store.export import export
from training.ledger.verify import command
from training.services.audit import findings
from training.services.signing.reauthentication import content_of


def signed_in(user: models.User) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def ada(people: Cast) -> Client:
    people.ada.set_password(PASSWORD)
    people.ada.save()
    return signed_in(people.ada)


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    "who", ["ida", "sams_account", "olaf"], ids=["an instructor", "a student", "somebody elsewhere"]
)
def test_it_is_for_administrators_alone(people: Cast, who: str) -> None:
    made = audits.stands(people)
    client = signed_in(getattr(people, who))
    answers = [client.get(at).status_code for at in ("/audit/", "/audit/findings.csv", "/audit/report.pdf")]
    answers += [client.post("/audit/run/").status_code]
    answers += [client.get(f"/audit/findings/{made.ref}/").status_code]
    assert answers == [403, 403, 403, 403, 404]


def test_an_audit_is_begun_and_its_findings_are_listed(people: Cast, ada: Client) -> None:
    assert "Not audited yet." in text_of(ada.get("/audit/"))
    flown = engine.Flight(
        id="f1", date=factories.NOON.date(), aircraft=engine.Aircraft("N00XY", "C172"), times={"solo": 1}
    )
    factories.recorded(people.sam, flights=(flown,))
    begun = ada.post("/audit/run/", {"school": "lakeside"})
    told = begun.getvalue().decode()
    assert '<progress aria-label="Students’ records read:" max="1" value="0"></progress>' in told
    assert "Audit complete. Students: 1; findings: 2; new: 2; found again: 0; no longer found: 0." in told
    assert '<a class="button" href="/audit/?school=lakeside">Show findings</a>' in told
    page = ada.get("/audit/?school=lakeside")
    assert "does not say: the total time, the place of departure and arrival." in text_of(page)
    only = text_of(ada.get("/audit/?kind=solo-first&state="))
    assert "A solo flight in the C172 on 2026-03-02" in only
    assert "does not say" not in only


def test_a_finding_is_dealt_with(people: Cast, ada: Client) -> None:
    made = audits.stands(people)
    address = f"/audit/findings/{made.ref}/"
    sent = {"how": "note", "note": "Asked Sam.", "confirm_password": "wrong"}
    refused = ada.post(address, sent)
    assert (refused.status_code, "Asked Sam." in refused.content.decode()) == (422, True)
    page = ada.post(address, {**sent, "confirm_password": PASSWORD}, follow=True)
    assert "A note, by Ada Example" in text_of(page)
    assert "Mark as resolved" not in text_of(page)
    assert "Asked Sam." not in text_of(ada.get("/audit/"))
    assert "Resolved" in text_of(ada.get("/audit/?state=resolved"))


def test_a_finding_is_dealt_with_by_a_passkey_over_what_is_noted(people: Cast, ada: Client) -> None:
    made, passkey = audits.stands(people), Passkey()
    passkey.added_to(people.ada)
    address = f"/audit/findings/{made.ref}/"
    page = ada.get(address).content.decode()
    assert f'data-digest="{made.digest}"' in page
    assert "Save with a passkey" in page
    _, digest = content_of(findings.said(made, "note", "Asked Sam.\nShe knows."))
    signed = passkey.signs(findings.SEALED_AS, people.sam.ref, made.ref, digest)
    sent = {"how": "note", "note": "Asked Sam.\r\nShe knows.", "passkey": json.dumps(signed)}
    other = ada.post(address, {**sent, "note": "Asked nobody."})
    assert (other.status_code, "signed something else" in text_of(other)) == (422, True)
    assert not models.Resolution.objects.exists()
    assert "A note, by Ada Example" in text_of(ada.post(address, sent, follow=True))
    resolution = models.Resolution.objects.get()
    assert (resolution.note, resolution.confirmed["by"]) == ("Asked Sam.\nShe knows.", "passkey")
    found = command.check(export(resolution.ledger_tree, at=resolution.at))
    assert (found.faults, found.passkeys) == ([], 1)


# others here, test_translation and test_checkpoint_mails make these queries on SQLite
@pytest.mark.any_database
def test_the_audit_is_a_part_of_the_schools_desk(people: Cast, ada: Client) -> None:
    made = audits.stands(people)
    assert "/audit/?school=lakeside" in ada.get("/school/lakeside/").content.decode()
    for path in ("/audit/", f"/audit/findings/{made.ref}/"):
        page = ada.get(path).content.decode()
        assert '<a href="/school/lakeside/people/">' in page
        assert '<a href="/audit/?school=lakeside" aria-current="page">' in page
    role = audits.idas_role(people)
    back = '<a href="/school/lakeside/">'
    assert back in ada.get(f"/audit/instructors/{role}/").content.decode()
    assert back not in signed_in(people.ida).get(f"/audit/instructors/{role}/").content.decode()


def test_the_table_holds_no_formula(people: Cast, ada: Client) -> None:
    models.Student.objects.filter(pk=people.sam.pk).update(name="=HYPERLINK(1)")
    audits.stands(people)
    answer = ada.get("/audit/findings.csv")
    rows = list(csv.DictReader(io.StringIO(answer.getvalue().decode("utf-8-sig"))))
    assert [each["student"] for each in rows] == ["'=HYPERLINK(1)"]
    [sheet] = openpyxl.load_workbook(io.BytesIO(ada.get("/audit/findings.xlsx").content))
    titles, cells = list(sheet.iter_rows())
    assert [each.value for each in titles][:4] == ["severity", "kind", "day", "student"]
    assert cells[3].value == "'=HYPERLINK(1)"
    assert {each.data_type for each in cells} <= {"s", "n", "inlineStr"}


def test_a_pdf_beyond_its_memory_is_said_and_nothing_else_happens(
    ada: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    ada.post("/audit/run/", {"school": "lakeside"}).getvalue()

    def apart(*given: Any, **more: Any) -> bytes:
        raise pdf.TooLarge("of no interest")

    monkeypatch.setattr(pdf, "make_apart", apart)
    told = ada.get("/audit/report.pdf", follow=True)
    assert told.redirect_chain == [("/audit/?school=lakeside", 302)]
    assert "Download the CSV or the workbook" in told.content.decode()


@pytest.mark.any_database  # others here, test_flight_import and test_audit make these queries on SQLite
def test_the_whole_audit_is_a_tagged_pdf_with_the_same_bytes_until_something_changes(
    people: Cast, ada: Client
) -> None:
    assert ada.get("/audit/report.pdf").status_code == 404  # never audited
    assert "/audit/report.pdf" not in ada.get("/audit/").content.decode()
    ada.post("/audit/run/", {"school": "lakeside"}).getvalue()
    assert "/audit/report.pdf?school=lakeside" in ada.get("/audit/").content.decode()
    models.Student.objects.filter(pk=people.sam.pk).update(name='#panic("it was run")')
    made = audits.stands(people)
    answer = ada.get("/audit/report.pdf")
    assert answer["Content-Type"] == "application/pdf"
    assert b"/StructTreeRoot" in answer.content
    assert b"pdfuaid" in answer.content
    assert ada.get("/audit/report.pdf").content == answer.content
    assert models.AccessLog.objects.filter(student=people.sam, what="findings of an audit").count() == 2
    ada.post(
        f"/audit/findings/{made.ref}/", {"how": "note", "note": "Asked Sam.", "confirm_password": PASSWORD}
    )
    assert ada.get("/audit/report.pdf").content != answer.content


def test_the_page_says_that_the_night_failed(people: Cast, ada: Client) -> None:
    night = {"on": "2026-03-03", "tries": 3, "fault": "ArithmeticError: no such day"}
    models.NightlyAudit.objects.create(school=people.school, **night)
    told = text_of(ada.get("/audit/"))
    assert "The nightly audit of 3 Mar 2026 failed 3 times" in told
    assert "ArithmeticError: no such day" in told


# others here, test_translation and test_checkpoint_mails make these queries on SQLite
@pytest.mark.any_database
def test_an_instructors_own_record_is_for_the_instructor_and_the_school(people: Cast) -> None:
    day = factories.NOON.date()
    ida = engine.Instructor("Ida Example", "0000001CFI")
    given = (
        engine.Endorsement("e1", "practical-test", day, ida, test="practical:private-airplane"),
        engine.Endorsement("e2", "knowledge-test", day, ida),
    )
    passed = engine.Test("t1", "knowledge:private-airplane", day, "pass", score=91)
    factories.attested(
        people.sam,
        engine.Record(
            engine.Student("Sam Example", people.sam.birth_date), endorsements=given, tests=(passed,)
        ),
        at=factories.NOON,
    )
    role = audits.idas_role(people)
    own = signed_in(people.ida).get("/audit/instructors/", follow=True)
    assert own.redirect_chain == [(f"/audit/instructors/{role}/", 302)]
    # 14 CFR 61.189(b)(2): the kind of test, its date and its result
    said = text_of(own)
    assert re.search(r"Practical test, private airplane \W*No result on record", said)
    assert "Knowledge test, private airplane Result: pass on 2 Mar 2026" in said
    assert signed_in(people.ada).get(f"/audit/instructors/{role}/").status_code == 200
    assert signed_in(people.olaf).get(f"/audit/instructors/{role}/").status_code == 404
    assert signed_in(people.sams_account).get("/audit/instructors/").status_code == 403


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_pages_break_no_rule(watched: Watched, school: Cast, live_server: LiveServer) -> None:
    made = audits.stands(school)
    page = watched.page
    add_session(page, live_server.url, school.ada)
    role = audits.idas_role(school)
    for path in ("", f"findings/{made.ref}/", "instructors/", f"instructors/{role}/"):
        page.goto(f"{live_server.url}/audit/{path}")
        watched.is_well()
