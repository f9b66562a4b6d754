"""Findings of an audit over HTTP: who sees them, filters, pages, and how one is dealt with."""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid
from typing import Any

import pytest

from syllabus.engine.record import record as engine
from tests.api.conftest import Clients
from tests.support import audits, factories
from tests.support.cast import Cast
from tests.support.rows import over_rows
from training import record
from training.ledger.models import Entry
from training.models import AccessLog, Finding, Resolution
from training.services.audit import findings
from training.services.signing import seals

PASSWORD = "a fine day for it"
LIST = "/api/v1/audit/findings"


def dealt_with(**more: Any) -> dict[str, Any]:
    return {"how": "correction", "note": "The total was typed in.", "confirm_password": PASSWORD, **more}


@pytest.fixture
def ada(people: Cast, signed_in: Clients) -> Any:
    people.ada.set_password(PASSWORD)
    people.ada.save()
    return signed_in(people.ada)


def address(finding: Finding) -> str:
    return f"{LIST}/{finding.ref}/resolve"


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_an_audit_of_a_school_is_kept_and_listed(people: Cast, ada: Any) -> None:
    factories.recorded(people.sam, flights=())
    ran = ada.post("/api/v1/audit/run", {}, format="json")
    assert (ran.status_code, ran.json()["audit"]["students"]) == (200, 1)
    listed = ada.get(LIST).json()
    assert (listed["school"], listed["findings"]) == ("lakeside", [])
    assert listed["last_audit"]["on"] == ran.json()["audit"]["on"]


def test_beside_each_entry_stands_who_vouches_for_it(people: Cast, ada: Any) -> None:
    papers = tuple(engine.Document(each, "english-proficiency", dt.date(2026, 1, 5)) for each in ("d1", "d2"))
    factories.recorded(people.sam, documents=papers[:1])
    whole = dataclasses.replace(record.of(people.sam), documents=papers)
    record.store(people.sam, whole, by=None, at=factories.NOON + dt.timedelta(days=1))
    named = [{"student": str(people.sam.ref), "id": each} for each in ("d1", "d2", "nowhere")]
    found = audits.stands(people)
    found.body = {**found.body, "entries": named}
    found.save()
    [told] = ada.get(LIST).json()["findings"]
    assert [each.pop("provenance") for each in told["entries"]] == ["attested", "claimed", None]
    assert told["entries"] == named


def test_a_day_to_come_is_not_audited(ada: Any) -> None:
    answer = ada.post("/api/v1/audit/run", {"on": "2150-01-01"}, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["place"]) == (422, "on")


@pytest.mark.any_database  # others here make these queries on SQLite
@over_rows(
    ("query", "told"),
    [
        pytest.param("", {"incomplete", "serious", "gone"}, id="all of them"),
        pytest.param("?state=open", {"incomplete", "serious"}, id="the open ones"),
        pytest.param("?state=gone", {"gone"}, id="those that are gone"),
        pytest.param("?state=resolved", set(), id="those that were dealt with"),
        pytest.param("?severity=serious", {"serious"}, id="of one severity"),
        pytest.param("?kind=training-hours", {"serious"}, id="of one kind"),
        pytest.param("?student=self", {"incomplete", "gone"}, id="of one student"),
    ],
    undo=True,
)
def test_filters(people: Cast, ada: Any, query: str, told: set[str]) -> None:
    of_ida = {"student": None, "instructor": people.ida}
    made = {
        "incomplete": audits.stands(people),
        "serious": audits.stands(people, **of_ida, kind="training-hours", severity="serious"),
        "gone": audits.stands(people, gone_at=audits.AT),
    }
    listed = ada.get(LIST + query.replace("self", str(people.sam.ref))).json()["findings"]
    assert {each["id"] for each in listed} == {str(made[name].ref) for name in told}


@pytest.mark.parametrize(
    "query", ["?state=opened", "?kind=x", "?severity=bad", "?student=x", "?cursor=x", "?x=1"]
)
def test_a_filter_that_is_none_is_refused(ada: Any, query: str) -> None:
    assert ada.get(LIST + query).status_code in (404, 422)


def test_pages_of_fifty_hold_each_finding_once(people: Cast, ada: Any) -> None:
    for _ in range(53):
        audits.stands(people)
    first = ada.get(LIST).json()
    second = ada.get(first["next"]).json()
    assert (len(first["findings"]), len(second["findings"]), second["next"]) == (50, 3, None)
    assert len({each["id"] for each in first["findings"] + second["findings"]}) == 53


def test_reading_is_logged_once_for_each_student(people: Cast, ada: Any) -> None:
    audits.stands(people)
    audits.stands(people)
    ada.get(LIST)
    log = AccessLog.objects.filter(user=people.ada, student=people.sam, what="findings of an audit")
    assert log.count() == 1


def test_one_is_dealt_with_once_and_sealed(people: Cast, ada: Any) -> None:
    made = audits.stands(people)
    first = ada.post(address(made), dealt_with(), format="json")
    again = ada.post(address(made), dealt_with(), format="json")
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json() == again.json()
    assert (first.json()["how"], first.json()["by"], first.json()["stands"]) == (
        "correction",
        "Ada Example",
        True,
    )
    row = Resolution.objects.get(finding=made)
    leaf = Entry.objects.get(tree=seals.tree_of(people.school), index=row.ledger_index)
    assert (leaf.kind, leaf.subject) == ("finding.resolved", str(people.sam.ref))
    assert leaf.kept.value["note"] == "The total was typed in."
    listed = ada.get(LIST).json()["findings"][0]
    assert (listed["state"], listed["resolutions"][0]["note"]) == ("resolved", "The total was typed in.")


def test_another_resolution_is_a_conflict(people: Cast, ada: Any) -> None:
    made = audits.stands(people)
    ada.post(address(made), dealt_with(), format="json")
    other = ada.post(address(made), dealt_with(note="Something else."), format="json")
    assert (other.status_code, Resolution.objects.count()) == (409, 1)


def test_what_is_gone_is_not_dealt_with(people: Cast, ada: Any) -> None:
    made = audits.stands(people, gone_at=audits.AT)
    assert ada.post(address(made), dealt_with(), format="json").status_code == 409


@over_rows(
    ("changed", "status"),
    [
        pytest.param({"confirm_password": "wrong"}, 403, id="a wrong password"),
        pytest.param({"confirm_password": None}, 422, id="nothing that confirms"),
        pytest.param({"how": "forgotten"}, 422, id="a way there is not"),
        pytest.param({"note": "  "}, 422, id="a blank note"),
        pytest.param({"note": "x" * 2_001}, 422, id="a note that is too long"),
        pytest.param({"more": 1}, 422, id="an unknown key"),
    ],
    undo=True,
)
def test_what_does_not_resolve(people: Cast, ada: Any, changed: dict[str, Any], status: int) -> None:
    made = audits.stands(people)
    assert ada.post(address(made), dealt_with(**changed), format="json").status_code == status
    assert not Resolution.objects.exists()


def test_one_that_came_back_is_open_again(people: Cast, ada: Any) -> None:
    made = audits.stands(people)
    ada.post(address(made), dealt_with(), format="json")
    Finding.objects.filter(pk=made.pk).update(returned_at=dt.datetime(2150, 1, 1, tzinfo=dt.UTC))
    listed = ada.get(LIST).json()["findings"][0]
    assert (listed["state"], listed["resolutions"][0]["stands"]) == ("open", False)


def test_nobody_elsewhere_finds_it(people: Cast, signed_in: Clients) -> None:
    made = audits.stands(people)
    elsewhere = factories.administrator(people.elsewhere)
    assert signed_in(elsewhere).post(address(made), dealt_with(), format="json").status_code == 404
    assert signed_in(elsewhere).get(f"{LIST}?school=lakeside").status_code == 403
    with pytest.raises(findings.NotAllowed):
        findings.resolve(made, how="note", note="x", by=elsewhere, at=audits.AT, via="test")


def test_an_instructors_own_record(people: Cast, signed_in: Clients) -> None:
    role = audits.idas_role(people)
    listed = signed_in(people.ida).get("/api/v1/audit/instructors").json()["instructors"]
    assert [each["id"] for each in listed] == [role]
    read = signed_in(people.ida).get(f"/api/v1/audit/instructors/{role}?on=2026-11-20").json()
    assert (read["name"], read["endorsements"]) == ("Ida Example", [])
    assert read["first_attempts"]["practical"]["enough"] is False
    assert signed_in(people.sams_account).get("/api/v1/audit/instructors").json()["instructors"] == []


def test_an_id_that_is_none(ada: Any) -> None:
    assert ada.post(f"{LIST}/{uuid.uuid4()}/resolve", dealt_with(), format="json").status_code == 404
