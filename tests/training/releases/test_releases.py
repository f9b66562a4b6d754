"""A solo release: asked for, decided to the check that was read, ended once, sealed, never edited."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from tests.support import factories, lessons
from tests.support.cast import Cast
from tests.support.releasing import AT, FLIGHT, TO_CONFIRM, Engine, asked, checked, decided, engine
from training import models
from training.ledger.models import Entry
from training.services.audit import findings
from training.services.errors import Conflict, NotAllowed, NotFound, Refused
from training.services.records import erasure
from training.services.releases import release_audit, releases
from training.services.releases.release_check import ReleaseError
from training.services.releases.releases import DECLINED, NotTheCheck
from training.services.school import school_settings

__all__ = ["engine"]
LATER = AT + dt.timedelta(minutes=20)


def test_a_release_is_sealed_with_the_flight_every_line_and_its_end(people: Cast, engine: Engine) -> None:
    release = asked(people)
    assert release.state(AT) == "requested"
    made = decided(people, release, reason="")
    assert (made.against, made.lines_confirmed, made.by) == (False, list(TO_CONFIRM), people.ida)
    assert made.ends_at == AT + dt.timedelta(hours=2)
    body = Entry.objects.get(kind=releases.DECIDED, index=made.ledger_index).kept.value
    assert '"off":"2026-03-03T12:30:00-06:00"' in body["check"]
    assert '"id":"law.medical"' in body["answer"]
    assert body["lines_confirmed"] == list(TO_CONFIRM)
    found = releases.find(people.sam, release.pk)
    assert found.state(LATER) == "released"
    assert found.state(made.ends_at) == "expired"
    assert not list(release_audit.faults(people.school))


def test_it_ends_with_the_earliest_of_the_schools_hours_and_the_engines_end(
    people: Cast, engine: Engine
) -> None:
    engine.ends = AT + dt.timedelta(minutes=45)
    assert decided(people, asked(people)).ends_at == engine.ends
    engine.ends = AT + dt.timedelta(hours=9)
    school_settings.change("lakeside", {"release_hours": 1}, by=people.ada, at=AT)
    people.sam.school.refresh_from_db()
    assert decided(people, asked(people)).ends_at == AT + dt.timedelta(hours=1)


@pytest.mark.parametrize("met", [False, None])
def test_against_a_line_it_needs_a_reason_is_marked_and_a_serious_finding(
    people: Cast, engine: Engine, met: bool | None
) -> None:
    engine.answers["law.identification"] = met
    release = asked(people)
    with pytest.raises(ReleaseError, match="reason: is empty"):
        decided(people, release, reason=" ")
    assert not models.ReleaseDecision.objects.exists()
    made = decided(people, release, reason="Passport seen, not yet entered.")
    assert made.against
    run = findings.recompute(people.school, people.school.day(AT), at=LATER, by=people.ada, via="web")
    [found] = [each for each in run.standing if each.kind == "release-against"]
    assert found.severity == "serious"
    assert "Passport seen, not yet entered." in found.body["says"]
    assert found.student == people.sam


def test_a_line_that_nobody_confirmed_needs_a_reason_too(people: Cast, engine: Engine) -> None:
    release = asked(people)
    with pytest.raises(ReleaseError, match="reason: is empty"):
        decided(people, release, lines_confirmed=TO_CONFIRM[:1])
    assert decided(people, release, lines_confirmed=TO_CONFIRM[:1], reason="Fuel seen.").against


def test_an_answer_that_changed_since_the_check_voids_it(people: Cast, engine: Engine) -> None:
    release = asked(people)
    before = checked(release)
    engine.answers["law.medical"] = False
    with pytest.raises(NotTheCheck) as refused:
        decided(people, release, checked_as=before, reason="I read the old one.")
    assert refused.value.report.digest == checked(release) != before
    assert not models.ReleaseDecision.objects.exists()
    assert decided(people, release, reason="Medical seen.").against


def test_another_flight_is_another_request_and_voids_the_check_and_the_release(
    people: Cast, engine: Engine
) -> None:
    release = asked(people)
    first = checked(release)
    other = asked(people, flight={**FLIGHT, "route": ["KGRB", "KGRB"]}, replaces=release.pk)
    assert checked(other) != first
    with pytest.raises(NotTheCheck):
        decided(people, other, checked_as=first)
    with pytest.raises(Conflict, match="decided or ended"):
        decided(people, release)
    decided(people, other)
    third = asked(people, replaces=other.pk, at=LATER)
    assert releases.find(people.sam, other.pk).state(LATER) == "ended"
    assert third.state(LATER) == "requested"
    with pytest.raises(Conflict, match="ended"):
        asked(people, replaces=other.pk)


def test_the_same_again_is_what_stands_and_another_is_a_conflict(people: Cast, engine: Engine) -> None:
    entry = uuid.uuid4()
    release = asked(people, entry=entry)
    assert asked(people, entry=entry) == release
    with pytest.raises(Conflict):
        asked(people, entry=entry, flight={**FLIGHT, "route": ["KGRB", "KGRB"]})
    made = decided(people, release)
    assert decided(people, release) == made
    with pytest.raises(Conflict):
        decided(people, release, decision=DECLINED, reason="Wind.")
    done = releases.end(release, "Flown", by=people.sams_account, at=LATER, via="web")
    assert releases.end(release, "Flown", by=people.sams_account, at=LATER, via="web") == done
    with pytest.raises(Conflict):
        releases.end(release, "Called back", by=people.ida, at=LATER, via="web")
    assert models.ReleaseDecision.objects.count() == models.ReleaseEnd.objects.count() == 1


def test_declined_needs_a_reason_and_cannot_end(people: Cast, engine: Engine) -> None:
    release = asked(people)
    with pytest.raises(ReleaseError, match="reason: is empty"):
        decided(people, release, decision=DECLINED)
    made = decided(people, release, decision=DECLINED, reason="Gusts.", lines_confirmed=())
    assert (made.ends_at, made.against) == (None, False)
    assert releases.find(people.sam, release.pk).state(LATER) == "declined"
    with pytest.raises(Conflict):
        releases.end(release, "Withdrawn", by=people.sams_account, at=LATER, via="web")


@pytest.mark.parametrize(
    ("said", "place"),
    [
        pytest.param({"decision": "maybe"}, "decision", id="no such decision"),
        pytest.param({"lines_confirmed": ["law.medical"]}, "lines_confirmed", id="a line of the law"),
        pytest.param({"lines_confirmed": ["confirm.luck"]}, "lines_confirmed", id="no such line"),
        pytest.param({"reason": "x" * 2001}, "reason", id="too long"),
    ],
)
def test_what_cannot_be_decided_is_refused(
    people: Cast, engine: Engine, said: dict[str, Any], place: str
) -> None:
    with pytest.raises(ReleaseError) as wrong:
        decided(people, asked(people), **said)
    assert [each.place for each in wrong.value.errors] == [place]
    assert not models.ReleaseDecision.objects.exists()


def test_only_an_instructor_with_signing_authority_decides(people: Cast, engine: Engine) -> None:
    release = asked(people)
    other = factories.instructor(people.school)
    for user in (people.sams_account, people.olaf, people.ottos_account, other):
        with pytest.raises(NotAllowed):
            decided(people, release, by=user)
    with pytest.raises(Refused, match="not an instructor"):
        decided(people, release, by=people.ada)
    role = models.Role.objects.get(user=people.ida)
    models.Role.objects.filter(pk=role.pk).update(recent_experience_until=dt.date(2026, 3, 2))
    with pytest.raises(Refused, match="recent experience"):
        decided(people, release)
    models.Role.objects.filter(pk=role.pk).update(recent_experience_until=None, certificate="")
    with pytest.raises(Refused, match="certificate"):
        decided(people, release)
    assert not models.ReleaseDecision.objects.exists()


def test_only_the_student_and_the_students_instructors_ask_and_end(people: Cast, engine: Engine) -> None:
    release = asked(people)
    for user in (people.ada, people.olaf, people.ottos_account, factories.instructor(people.school)):
        with pytest.raises(NotAllowed):
            asked(people, by=user)
        with pytest.raises(NotAllowed):
            releases.end(release, "Flown", by=user, at=LATER, via="web")
        with pytest.raises(NotAllowed):
            releases.check(people.sam, FLIGHT, by=user, at=AT, via="web")
    with pytest.raises(NotFound):
        releases.find(people.otto, release.pk)
    assert asked(people, by=people.ida).by == people.ida


def test_nothing_written_is_changed_or_deleted_by_the_database(people: Cast, engine: Engine) -> None:
    release = asked(people)
    decision = decided(people, release)
    done = releases.end(release, "Flown", by=people.ida, at=LATER, via="web")
    for row, values in (
        (release, {"flight": {}}),
        (decision, {"ends_at": LATER + dt.timedelta(days=1)}),
        (done, {"reason": "Never"}),
    ):
        rows = type(row)._default_manager.filter(pk=row.pk)
        with pytest.raises(DatabaseError), transaction.atomic():
            rows.update(**values)
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM {row._meta.db_table}")


def test_an_erased_student_asks_for_nothing(people: Cast, engine: Engine) -> None:
    models.Student.objects.filter(pk=people.sam.pk).update(erased_at=AT)
    with pytest.raises(NotAllowed):
        asked(people)


def test_an_erasure_takes_requests_decisions_and_ends(people: Cast, engine: Engine) -> None:
    release = asked(people)
    decided(people, release)
    releases.end(release, "Flown", by=people.ida, at=LATER, via="web")
    years_on = AT + dt.timedelta(days=20 * 366)
    erasure.erase(people.sam, "asked for", by=people.ada, at=years_on, via="command")
    for model in (models.SoloRelease, models.ReleaseDecision, models.ReleaseEnd):
        assert not model._default_manager.exists()
    assert not list(release_audit.faults(people.school))


def test_a_row_that_is_not_what_was_sealed_is_found(people: Cast, engine: Engine) -> None:
    release = asked(people)
    made = decided(people, release)
    done = releases.end(release, "Flown", by=people.ida, at=LATER, via="web")
    with lessons.unguarded():
        models.ReleaseDecision.objects.filter(pk=made.pk).update(ends_at=LATER + dt.timedelta(days=1))
        models.ReleaseEnd.objects.filter(pk=done.pk).update(reason="Called back")
    assert list(release_audit.faults(people.school)) == [
        f"the decision of solo release {release.pk} differs from ledger entry {made.ledger_index}",
        f"the end of solo release {release.pk} differs from ledger entry {done.ledger_index}",
    ]
    with lessons.unguarded():
        models.SoloRelease.objects.filter(pk=release.pk).update(flight={**FLIGHT, "route": ["KGRB"]})
        models.ReleaseDecision.objects.filter(pk=made.pk).update(ends_at=made.ends_at)
        models.ReleaseEnd.objects.all().delete()
    assert list(release_audit.faults(people.school)) == [
        f"the decision of solo release {release.pk} differs from ledger entry {made.ledger_index}",
        f"entry {done.ledger_index} ({releases.ENDED}) has no row",
    ]
