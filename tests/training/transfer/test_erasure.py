"""What may be erased when, what holds it, and an erasure after which every proof still stands."""

from __future__ import annotations

import datetime as dt
import os
import secrets
from collections.abc import Iterator
from io import StringIO

import psycopg
import pytest
from django.apps import apps
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection, transaction

from syllabus.engine.audit.audit import MENDS, SEVERITIES
from tests.support import courses, factories, handing, lessons
from tests.support.cast import Cast, cast
from tests.support.kept import kept
from training import models, record
from training.ledger import models as ledger
from training.ledger.core import checking, sealed
from training.ledger.store import audit, entries
from training.services import access
from training.services.errors import NotAllowed
from training.services.lessons import lesson_audit
from training.services.operations import inspection, rights
from training.services.records import erasure
from training.services.signing import seals
from training.triggers import erasing

pytestmark = pytest.mark.django_db
#: The endorsement was given on 2026-03-03: 14 CFR 61.189(c), at least 3 years.
LAST = dt.datetime(2029, 3, 3, 18, tzinfo=dt.UTC)
AFTER = LAST + dt.timedelta(days=1)


@kept
def people() -> Cast:
    found = cast()
    handing.trained(found)
    factories.recorded(found.otto, **handing.records())
    return found


def erase(people: Cast, at: dt.datetime = AFTER, by: models.User | None = None, why: str = "asked for"):
    return erasure.erase(people.sam, why, by=by or people.ada, at=at, via="command")


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("at", "may"),
    [
        pytest.param(LAST, False, id="on the last day of three years"),
        pytest.param(AFTER, True, id="on the day after"),
    ],
)
def test_the_instructors_record_keeps_it_for_three_years(people: Cast, at, may) -> None:
    plan = erasure.plan(people.sam, at.date())
    assert plan.may is may
    assert plan.may_from == AFTER.date()
    if not may:
        with pytest.raises(erasure.NotYet, match=r"61\.189\(c\)"):
            erase(people, at)
        assert models.Flight.objects.filter(student=people.sam).exists()


def test_a_test_after_the_endorsement_counts_by_its_own_day(people: Cast) -> None:
    from syllabus.engine.record import record as engine

    test = engine.Test("t", "knowledge:private-airplane", dt.date(2026, 6, 1), "pass")
    record.add(people.sam, "tests", test, at=handing.AT)
    assert erasure.plan(people.sam, AFTER.date()).may_from == dt.date(2029, 6, 2)


def test_the_rule_of_part_141_is_asked_unless_the_school_is_known_not_to_be_certificated(
    people: Cast,
) -> None:
    for part_141, asked in ((None, True), (True, True), (False, False)):
        models.School.objects.filter(pk=people.school.pk).update(part_141=part_141)
        student = models.Student.objects.get(pk=people.sam.pk)
        cited = [each.rule.cite.section for each in erasure.plan(student, AFTER.date()).kept]
        assert ("14 CFR 141.101(d)" in cited) is asked


@pytest.mark.any_database  # others here and test_handover make these queries on SQLite
@pytest.mark.parametrize(
    ("day", "may"),
    [
        pytest.param(dt.date(2034, 6, 1), False, id="on the last day of five years"),
        pytest.param(dt.date(2034, 6, 2), True, id="on the day after"),
    ],
)
def test_the_record_of_citizenship_keeps_it_for_five_years(people: Cast, day: dt.date, may: bool) -> None:
    # 49 CFR 1552.15(c); the years are from memory, and count from the end of training.
    from syllabus.engine.record import record as engine

    assert "49 CFR 1552.15(c)" not in [each.rule.cite.section for each in erasure.plan(people.sam, day).kept]
    ida = engine.Instructor("Ida Example")
    shown = engine.Endorsement("c", "citizenship", dt.date(2029, 6, 1), ida, conditions="a passport")
    record.add(people.sam, "endorsements", shown, at=handing.AT)
    assert erasure.plan(people.sam, day).may is may


def test_an_enrolment_or_a_hold_keeps_it_whatever_ran_out(people: Cast) -> None:
    held = erasure.hold(people.sam, "a dispute about fees", by=people.ada, at=AFTER, via="api")
    with pytest.raises(erasure.NotYet, match="a dispute about fees"):
        erase(people)
    erasure.release(held, "settled", by=people.ada, at=AFTER, via="api")
    courses.enrolled(people)
    with pytest.raises(erasure.NotYet, match="End the enrollment first"):
        erase(people)


@pytest.mark.parametrize("who", ["ida", "olaf", "sams_account"])
def test_only_an_administrator_of_the_school_erases_and_holds(people: Cast, who: str) -> None:
    with pytest.raises(NotAllowed):
        erase(people, by=getattr(people, who))
    with pytest.raises(NotAllowed):
        erasure.hold(people.sam, "mine", by=getattr(people, who), at=AFTER, via="api")


def test_after_it_nothing_is_left_but_the_proofs(people: Cast) -> None:
    seals_before = ledger.Entry.objects.filter(subject=str(people.sam.ref)).count()
    plan = erase(people)
    assert plan.bodies == seals_before == 7
    sam = models.Student.objects.get(pk=people.sam.pk)
    assert (sam.name, sam.birth_date, sam.user, sam.erased_at) == ("", None, None, AFTER)
    for model in apps.get_app_config("training").get_models():
        if erasing.is_about_a_student(model) and model.__name__ not in erasing.STAYS:
            assert not model.objects.filter(student=sam).exists(), model
    about = ledger.Entry.objects.filter(subject=str(sam.ref))
    assert about.count() == 2 * seals_before + 1
    said = set(about.filter(kept__isnull=False).values_list("kind", flat=True))
    assert said == {sealed.ERASURE, erasing.KIND}
    assert "Sam" not in " ".join(
        ledger.EntryBody.objects.filter(entry__in=about).values_list("body", flat=True)
    )
    assert models.AccessLog.objects.filter(student=sam, what="erasure of the record").exists()
    assert models.Flight.objects.filter(student=people.otto).exists(), "nobody else's went"


def test_what_was_said_about_findings_goes_too(people: Cast) -> None:
    about = {
        "school": people.school,
        "kind": "hours",
        "severity": SEVERITIES[0],
        "day": AFTER.date(),
        "digest": "d",
        "body": {},
        "first_seen": AFTER,
        "last_seen": AFTER,
    }
    for key, whose in (("a", people.sam), ("b", factories.student(people.school))):
        found = models.Finding.objects.create(student=whose, key=key, **about)
        models.Resolution.objects.create(
            school=people.school, finding=found, by=people.ada, at=AFTER, how=MENDS[0], note="Sam was told",
            digest="d", ledger_tree="x", ledger_index=1,
        )  # fmt: skip
    refused("DELETE FROM training_resolution WHERE note = %s", "Sam was told")
    erase(people)
    assert list(models.Resolution.objects.values_list("finding__key", flat=True)) == ["b"]


@pytest.fixture
def plain_role() -> Iterator[str]:
    """A role as web server and worker have it, which the tests' own may take on."""
    role = f"plain_{secrets.token_hex(4)}"
    with psycopg.connect(os.environ["TEST_SUPERUSER_URL"], autocommit=True) as superuser:
        superuser.execute(f"CREATE ROLE {role}")
        superuser.execute(f"GRANT {role} TO {connection.settings_dict['USER']}")
        yield role
        superuser.execute(f"DROP ROLE {role}")


@pytest.mark.postgresql
def test_a_role_that_may_delete_nothing_erases_through_the_owners_function(
    people: Cast, plain_role: str
) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        for statement in rights.statements(plain_role):
            cursor.execute(statement)
        cursor.execute(f"SET LOCAL ROLE {plain_role}")
        refused("DELETE FROM training_flight WHERE student_id = %s", people.sam.pk)
        refused(f"SELECT {erasing.FUNCTION}(%s)", people.sam.pk)
        erase(people)
        cursor.execute("RESET ROLE")
        assert not models.Flight.objects.filter(student=people.sam).exists()
        transaction.set_rollback(True)  # a role that was granted something is not dropped


def test_the_ledger_stays_whole_and_the_erased_is_named(people: Cast) -> None:
    erase(people)
    tree, tally = seals.tree_of(people.school), checking.Tally()
    assert list(audit.tree_faults(tree, tally)) == []
    assert tally.erased == 7
    assert list(lesson_audit.faults(people.school)) == []
    told = list(lesson_audit.erased(people.school))
    assert len(told) == 7
    assert told[0] == "entry 0 (record.added) was erased: asked for"
    looked = inspection.look()
    assert looked.faults == []
    assert any("7 signed entries erased" in each for each in looked.figures)


@pytest.mark.any_database  # others here and test_access make these queries on SQLite
def test_nothing_can_be_written_to_what_was_erased(people: Cast) -> None:
    erase(people)
    people.sam.refresh_from_db()
    assert not access.may(people.ada, access.WRITE, people.sam, on=AFTER.date())
    assert access.may(people.ada, access.READ, people.sam, on=AFTER.date())
    with pytest.raises(erasure.NotYet, match="was already erased"):
        erase(people)


def refused(statement: str, *values: object) -> None:
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)


@pytest.mark.parametrize(
    "model",
    [
        models.Flight,
        models.SignOff,
        models.EndorsementSeal,
        models.Endorsement,
        models.LessonRecord,
        models.Correction,
    ],
    ids=lambda model: model.__name__,
)
def test_a_sealed_erasure_of_one_student_lets_nobody_elses_rows_go(people: Cast, model) -> None:
    other = factories.student(people.school, name="Ola Example")
    with transaction.atomic():
        seals.seal(other, erasing.KIND, {"reason": "another's"}, at=AFTER)
    sealed_rows = {"sealed": True} if model in models.ENTRIES else {}
    row = model.objects.filter(student=people.sam, **sealed_rows).first()
    key = row.pk.hex if connection.vendor == "sqlite" and not isinstance(row.pk, int) else row.pk
    refused(f"DELETE FROM {model._meta.db_table} WHERE id = %s", key)


def test_the_deletion_does_nothing_without_a_sealed_erasure(people: Cast) -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        erasing.delete(people.sam.pk, connection)
    assert models.Flight.objects.filter(student=people.sam).count() == 4


@pytest.mark.parametrize(
    ("said", "subject"),
    [
        pytest.param(None, "", id="no erasure at all"),
        pytest.param({"erases": 1, "reason": "x"}, "sam", id="an erasure of another entry"),
        pytest.param({"erases": 0, "reason": "x"}, "otto", id="an erasure sealed about another student"),
        pytest.param(
            {"erases": 0, "reason": "x"}, "another tree", id="an erasure in another school's ledger"
        ),
    ],
)
def test_a_body_goes_only_by_an_erasure_of_that_very_entry(people: Cast, said, subject) -> None:
    tree = seals.tree_of(people.school)
    if said is not None:
        about = people.otto.ref if subject == "otto" else people.sam.ref
        where = seals.tree_of(people.elsewhere) if subject == "another tree" else tree
        with transaction.atomic():
            entries.append(tree=where, kind="x", subject="x", body={}, at=AFTER)
            entries.append(tree=where, kind=sealed.ERASURE, subject=str(about), body=said, at=AFTER)
    first = ledger.Entry.objects.get(tree=tree, index=0)
    refused("DELETE FROM ledger_entrybody WHERE entry_id = %s", first.pk)


def test_an_erasure_itself_is_not_erased(people: Cast) -> None:
    erase(people)
    tree = seals.tree_of(people.school)
    first = ledger.Entry.objects.filter(tree=tree, kind=sealed.ERASURE).first()
    with transaction.atomic():
        entries.append(
            tree=tree,
            kind=sealed.ERASURE,
            subject=first.subject,
            body={"erases": first.index, "reason": "to hide it"},
            at=AFTER,
        )
    refused("DELETE FROM ledger_entrybody WHERE entry_id = %s", first.pk)


@pytest.mark.any_database  # others here and test_records_in_and_out make these queries on SQLite
def test_the_command_shows_first_and_erases_when_told_to(people: Cast, monkeypatch) -> None:
    import time_machine

    out, ref = StringIO(), str(people.sam.ref)
    with time_machine.travel(LAST, tick=False):
        call_command("erase_student", ref, reason="asked for", stdout=out)
        assert "AGAINST: 14 CFR 61.189(c)" in out.getvalue()
        assert "may be erased from 2029-03-04" in out.getvalue()
        with pytest.raises(CommandError, match="Nothing was erased"):
            call_command("erase_student", ref, reason="asked for", really=True, stdout=out)
    with time_machine.travel(AFTER, tick=False):
        call_command("erase_student", ref, reason="asked for", really=True, stdout=out)
    assert "Erased: the contents of 7 ledger entries; their proofs stay." in out.getvalue()
    assert lessons.AT < AFTER


def test_who_was_taken_over_is_erased_with_what_the_other_school_sealed(people: Cast) -> None:
    from training.services.transfer import handover

    raw, kid = handing.made(people)
    why = {"via": "command", "reason": "new here"}
    done = handover.take(raw, school=people.elsewhere, trust=[kid], by=None, at=handing.AT, **why)
    models.Enrolment.objects.filter(student=done.student).update(ends=handing.AT.date())
    erasure.erase(done.student, "asked for", by=None, at=AFTER, via="command")
    assert not models.ForeignEntry.objects.exists()
    assert not models.HandOver.objects.exists()
    assert list(lesson_audit.faults(people.elsewhere)) == []
