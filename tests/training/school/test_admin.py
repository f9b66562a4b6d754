"""The admin site knows schools, users, roles and a school's own words, and no student's record."""

import pytest
from django.contrib import admin
from django.urls import reverse

from syllabus.models import SchoolMinimum
from tests.support import factories
from tests.support.cast import Cast
from training import models

pytestmark = pytest.mark.ignore_template_errors  # Django's own templates ask for what need not be there


@pytest.fixture
def root(people: Cast, client):
    client.force_login(models.User.objects.create_superuser("root@lakeside.example"))
    return client


def test_it_knows_schools_users_and_what_is_a_schools_own():
    known = {
        "Aircraft",
        "AircraftCheck",
        "Grounding",
        "School",
        "User",
        "EndorsementWording",
        "SchoolMinimum",
    }
    assert {model.__name__ for model in admin.site._registry} == known


@pytest.mark.parametrize(
    "page",
    [
        "index",
        "training_school_changelist",
        "training_user_changelist",
        "training_aircraft_changelist",
        "training_aircraftcheck_changelist",
        "training_endorsementwording_changelist",
        "syllabus_schoolminimum_changelist",
    ],
)
def test_its_pages_open_for_the_staff(root, page):
    assert root.get(reverse(f"admin:{page}")).status_code == 200


@pytest.mark.parametrize("who", ["ada", "ida", "sams_account"])
def test_it_is_closed_to_whoever_is_not(people: Cast, client, who):
    client.force_login(getattr(people, who))
    assert client.get(reverse("admin:index")).status_code == 302


def test_a_user_and_the_roles_are_made_and_changed(root, people: Cast):
    added = root.post(
        reverse("admin:training_user_add"),
        {
            "email": "New@Lakeside.Example",
            "name": "New Example",
            "usable_password": "false",
            "roles-TOTAL_FORMS": "1",
            "roles-INITIAL_FORMS": "0",
            "roles-0-school": str(people.school.pk),
            "roles-0-role": "instructor",
            "roles-0-instructor_kind": "flight",
        },
    )
    assert added.status_code == 302, added.context["errors"]
    made = models.User.objects.get(email="new@lakeside.example")
    assert [(role.school, role.role) for role in made.roles.all()] == [(people.school, "instructor")]
    assert root.get(reverse("admin:training_user_change", args=[made.pk])).status_code == 200


def test_a_minimum_is_added_and_ended_and_never_changed_or_deleted(root, people: Cast):
    sent = {
        "school_ref": "lakeside", "milestone": "faa.first-solo", "code": "dual", "kind": "total_at_least",
        "params": '{"counts": ["dual"], "need": "15 h"}', "says": "15 hours of dual", "starts": "2026-03-01",
    }  # fmt: skip
    add = reverse("admin:syllabus_schoolminimum_add")
    refused = root.post(add, {**sent, "params": '{"counts": ["dual"], "need": "15 NM"}'})
    assert "need" in str(refused.context["errors"])
    assert root.post(add, sent).status_code == 302
    made = SchoolMinimum.objects.get()
    change = reverse("admin:syllabus_schoolminimum_change", args=[made.pk])
    assert root.post(change, {**sent, "says": "20 hours", "ends": "2026-06-30"}).status_code == 302
    made.refresh_from_db()
    assert (made.says, made.ends.isoformat()) == ("15 hours of dual", "2026-06-30")
    assert root.post(reverse("admin:syllabus_schoolminimum_delete", args=[made.pk])).status_code == 403


def test_ratings_are_checked_where_they_are_typed(root, people: Cast):
    url = reverse("admin:training_user_change", args=[people.ida.pk])
    role = people.ida.roles.get()
    sent = {
        "email": people.ida.email, "name": people.ida.name, "is_active": "on",
        "roles-TOTAL_FORMS": "1", "roles-INITIAL_FORMS": "1", "roles-0-id": str(role.pk),
        "roles-0-user": str(people.ida.pk), "roles-0-school": str(people.school.pk),
        "roles-0-role": "instructor",
            "roles-0-instructor_kind": "flight", "roles-0-certificate": role.certificate,
    }  # fmt: skip
    refused = root.post(url, {**sent, "roles-0-ratings": '[{"category": "plane"}]'})
    assert "ratings[0].category" in refused.content.decode()
    for typed, kept in (("[]", []), ('[{"category": "glider"}]', [{"category": "glider"}]), ("", None)):
        assert root.post(url, {**sent, "roles-0-ratings": typed}).status_code == 302
        role.refresh_from_db()
        assert role.ratings == kept


def test_a_time_zone_that_is_none_is_refused(root, people: Cast):
    answer = root.post(
        reverse("admin:training_school_change", args=[people.school.pk]),
        {"name": "Lakeside", "slug": "lakeside", "time_zone": "Wisconsin"},
    )
    assert "&#x27;Wisconsin&#x27; is not a time zone" in answer.content.decode()


@pytest.mark.parametrize(
    ("kind", "of"), [("school", lambda people: people.school), ("user", lambda people: people.ida)]
)
def test_nothing_is_deleted(root, people: Cast, kind, of):
    assert root.post(reverse(f"admin:training_{kind}_delete", args=[of(people).pk])).status_code == 403


def test_a_students_page_is_not_there(root, people: Cast):
    factories.recorded(people.sam)
    assert root.get(f"/admin/training/student/{people.sam.pk}/change/").status_code == 404
