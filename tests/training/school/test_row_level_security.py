"""Beneath the application's conditions PostgreSQL shows a request the rows of its person's schools alone."""

from __future__ import annotations

import datetime as dt
import os
import secrets
from collections.abc import Iterator
from typing import Any

import psycopg
import pytest
import time_machine
from django.apps import apps
from django.core.cache import cache
from django.db import DatabaseError, connection, models, transaction
from django.db.models import Q
from django.test import Client
from rest_framework.test import APIClient

from syllabus.models import Course, SchoolMinimum
from tests.support import factories, forced, lessons
from tests.support.cast import Cast
from training.ledger.models import Entry
from training.models import Flight, Role, School, Student, User
from training.services import access, row_scope
from training.services.operations import rights
from training.sql import Statement
from training.triggers import policies

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db]
#: Tables without a school: accounts and what opens them, Django's own, and what is of the whole server. One
#: that is new has a policy, or its reason here.
OF_NO_SCHOOL = {
    "account_emailaddress", "account_emailconfirmation", "auth_group", "auth_group_permissions",
    "auth_permission", "django_admin_log", "django_content_type", "django_session", "knox_authtoken",
    "ledger_ledgerkey",  # public keys of the installation
    "mfa_authenticator",
    "socialaccount_socialaccount", "socialaccount_socialapp", "socialaccount_socialtoken",
    "training_calendarfeed", "training_reminderpreferences",  # a person's, whatever the school
    "training_heartbeat", "training_spentnonce",
    "training_user", "training_user_groups", "training_user_user_permissions",
    "usersessions_usersession",
}  # fmt: skip
NOW = dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC)


def test_every_table_has_a_policy_or_is_of_no_school() -> None:
    tables = {each._meta.db_table for each in apps.get_models(include_auto_created=True)}
    held = set(policies.wanted(connection))
    assert policies.missing(connection) == []
    assert tables - held == OF_NO_SCHOOL
    assert held <= tables


def leads_to_a_school(model: type[models.Model], seen: frozenset[Any] = frozenset()) -> bool:
    """Whether a model names a school, or what it hangs on does."""
    names = {"school_ref", "tree"} & {each.name for each in model._meta.concrete_fields}
    return bool(names) or any(
        field.related_model is School or leads_to_a_school(field.related_model, seen | {model})
        for field in model._meta.concrete_fields
        if isinstance(field.related_model, type) and field.related_model not in {*seen, model}
    )


def test_no_table_without_a_policy_leads_to_a_school() -> None:
    held = policies.wanted(connection)
    without = [each for each in apps.get_models(include_auto_created=True) if each._meta.db_table not in held]
    assert [each for each in without if leads_to_a_school(each)] == []


def test_a_policy_that_was_taken_away_is_noticed_and_put_back() -> None:
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE training_flight DISABLE ROW LEVEL SECURITY")
        cursor.execute(f"DROP POLICY {policies.NAME} ON training_aircraft")
    assert policies.missing(connection) == ["training_aircraft", "training_flight"]
    policies.install(connection)
    assert policies.missing(connection) == []


# The rows themselves


@pytest.fixture(params=["the owner", "the plain role"])
def bound(request: pytest.FixtureRequest, people: Cast) -> Iterator[Cast]:
    """Both schools' rows, for the tests' role, which is bound by force, and for a role as in use."""
    lessons.signed(people)
    factories.aircraft(people.school, registration="N00XY", model="C172")
    Course.objects.create(code="own", school_ref=people.school.slug)
    Course.objects.create(code="product")
    SchoolMinimum.objects.create(
        school_ref=people.school.slug, milestone="faa.first-solo", code="more", kind="total_at_least",
        params={"counts": ["dual"], "need": "25 h"}, says="more", starts=NOW.date(),
    )  # fmt: skip
    if request.param == "the owner":
        yield people
        return
    role = f"plain_{secrets.token_hex(4)}"
    with psycopg.connect(os.environ["TEST_SUPERUSER_URL"], autocommit=True) as superuser:
        superuser.execute(f"CREATE ROLE {role}")
        superuser.execute(f"GRANT {role} TO {connection.settings_dict['USER']}")
        with transaction.atomic(), connection.cursor() as cursor:
            forced.set_forced("NO FORCE")
            for each in rights.statements(role):
                cursor.execute(each)
            cursor.execute(f"SET LOCAL ROLE {role}")
            yield people
            cursor.execute("RESET ROLE")
            transaction.set_rollback(True)  # a role that was granted something is not dropped
        superuser.execute(f"DROP ROLE {role}")


SHOWN = (Student, Flight, Role, School, Course, SchoolMinimum, Entry)


def shown() -> dict[str, set[str]]:
    """What is there of each, by the schools' short names."""
    slugs = dict(School.objects.values_list("pk", "slug"))
    return {
        "students": {each.name for each in Student.objects.all()},
        "flights": {slugs.get(each.school_id, "?") for each in Flight.objects.all()},
        "roles": {slugs.get(each.school_id, "?") for each in Role.objects.all()},
        "schools": set(slugs.values()),
        "courses": {str(each.school_ref) for each in Course.objects.all()},
        "minimums": {each.school_ref for each in SchoolMinimum.objects.all()},
        "entries": {each.tree for each in Entry.objects.all()},
    }


def test_a_user_is_shown_the_rows_of_the_own_schools(bound: Cast) -> None:
    own = {
        "students": {"Sam Example"}, "flights": {"lakeside"}, "roles": {"lakeside"}, "schools": {"lakeside"},
        "courses": {"None", "lakeside"}, "minimums": {"lakeside"}, "entries": {f"school-{bound.school.pk}"},
    }  # fmt: skip
    other = {
        "students": {"Otto Example"}, "flights": set(), "roles": {"hilltop"}, "schools": {"hilltop"},
        "courses": {"None"}, "minimums": set(), "entries": set(),
    }  # fmt: skip
    nothing = {**{each: set() for each in own}, "courses": {"None"}}
    every = {each: {*own[each], *other[each]} for each in own}
    for user, seen in (
        (bound.ida, own),
        (bound.sams_account, own),
        (bound.olaf, other),
        (bound.ottos_account, other),
    ):
        row_scope.of(user.pk)
        assert shown() == seen, user
    row_scope.nothing()
    assert shown() == nothing
    with row_scope.every_school():
        assert shown() == every
    assert shown() == nothing
    row_scope.everything()
    assert shown() == every


def test_who_has_to_do_with_two_schools_is_shown_both(people: Cast) -> None:
    factories.role("instructor", at=people.elsewhere, whose=people.ida)
    Student.objects.create(school=people.elsewhere, user=people.sams_account, name="Sam, who moved")
    for user in (people.ida, people.sams_account):
        row_scope.of(user.pk)
        assert shown()["schools"] == {"lakeside", "hilltop"}
    row_scope.of(people.ada.pk)
    assert shown()["students"] == {"Sam Example"}


def test_a_row_of_another_school_is_neither_written_nor_changed(bound: Cast) -> None:
    row_scope.of(bound.olaf.pk)
    assert Student.objects.filter(pk=bound.sam.pk).update(name="changed") == 0
    with pytest.raises(DatabaseError, match="row-level security"), transaction.atomic():
        Role.objects.create(school=bound.school, user=bound.olaf, role="administrator")
    row_scope.everything()
    assert Student.objects.get(pk=bound.sam.pk).name == "Sam Example"
    assert not Role.objects.filter(school=bound.school, user=bound.olaf).exists()


@pytest.mark.django_db(transaction=True)
def test_what_was_taken_back_does_not_leave_the_scope_of_who_asked_before(people: Cast) -> None:
    row_scope.of(people.ida.pk)
    assert shown()["schools"] == {"lakeside"}
    row_scope.nothing()
    with transaction.atomic():
        assert shown()["schools"] == set()
        transaction.set_rollback(True)
    assert shown()["schools"] == set()
    with transaction.atomic():
        row_scope.of(people.olaf.pk)
        assert shown()["schools"] == {"hilltop"}
        transaction.set_rollback(True)
    assert shown()["schools"] == {"hilltop"}
    connection.close()
    assert shown()["schools"] == {"hilltop"}, "a connection that is made anew is told too"


# Pages and the API, with the application's own conditions taken away


@pytest.fixture
def unfiltered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everybody who is signed in may see and do everything, as far as the application goes."""
    anyone = {each: lambda user, on: Q(ref__isnull=False) for each in access.RELATIONS}
    monkeypatch.setattr(access, "RELATIONS", anyone)
    monkeypatch.setattr(access, "_condition", access._condition.__wrapped__)
    monkeypatch.setattr(access, "_OPENED", Statement(access._of_a_reader))
    monkeypatch.setattr(access, "schools", lambda user, takes="": School.objects.all())


PAGES = ("/students/", "/students/{sam}/", "/students/{sam}/standing/", "/students/{sam}/hours/")
PAGES += ("/students/{sam}/lessons/", "/students/{sam}/lessons/{lesson}/", "/students/{sam}/changes/")
PAGES += ("/students/{sam}/record.json", "/students/{sam}/record.pdf", "/teach/{sam}/", "/audit/")
PAGES += ("/audit/instructors/", "/school/lakeside/", "/school/lakeside/people/", "/search/?q=Sam", "/today/")
CALLS = ("students/", "students/{sam}/", "students/{sam}/record", "students/{sam}/eligibility")
CALLS += (
    "students/{sam}/progress",
    "students/{sam}/lesson-records",
    "students/{sam}/lesson-records/{lesson}",
)
CALLS += ("students/{sam}/endorsements", "students/{sam}/changes", "students/{sam}/guardians", "people")
CALLS += (
    "students/{sam}/hand-over",
    "aircraft",
    "search?q=Sam",
    "audit/findings",
    "schools/lakeside/settings",
)


def answers(people: Cast, who: User) -> dict[str, bool]:
    """Each address with whether its answer says anything of Sam or the school."""
    lesson = lessons.signed(people).pk
    factories.aircraft(people.school, registration="N77ZZ", model="C172")
    page, api = Client(), APIClient()
    page.force_login(who)
    api.force_login(who)
    found = {}
    for client, prefix, paths in ((page, "", PAGES), (api, "/api/v1/", CALLS)):
        for path in paths:
            cache.clear()
            answer = client.get(prefix + path.format(sam=people.sam.ref, lesson=lesson))
            body = answer.content if not answer.streaming else b"".join(answer)  # type: ignore[arg-type]
            told = any(word in body for word in (b"Sam Example", b"Lakeside Flying", b"N77ZZ", b"lakeside."))
            private = "{sam}" in path and answer.status_code == 200
            found[prefix + path] = told or private
    return found


@pytest.mark.usefixtures("unfiltered")
def test_without_the_applications_conditions_no_foreign_row_is_shown(people: Cast) -> None:
    with time_machine.travel(NOW, tick=False):
        assert [path for path, told in answers(people, people.olaf).items() if told] == []


@pytest.mark.usefixtures("unfiltered")
def test_the_conditions_are_really_taken_away(people: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same without the policies: so much would be told."""
    monkeypatch.setattr(row_scope, "of", lambda user: row_scope.everything())
    with time_machine.travel(NOW, tick=False):
        told = [path for path, told in answers(people, people.olaf).items() if told]
    assert len(told) > 20, told
