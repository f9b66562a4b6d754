"""The admin site knows schools, users, roles and a school's own words, and no student's record."""

import pytest
from django.contrib import admin
from django.urls import reverse

from tests import factories
from tests.cast import Cast
from training import models


@pytest.fixture
def root(people: Cast, client):
    client.force_login(models.User.objects.create_superuser("root@lakeside.example"))
    return client


def test_it_knows_schools_users_and_a_schools_own_words_alone():
    assert {model.__name__ for model in admin.site._registry} == {"School", "User", "EndorsementWording"}


@pytest.mark.parametrize(
    "page",
    [
        "index",
        "training_school_changelist",
        "training_user_changelist",
        "training_endorsementwording_changelist",
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
        },
    )
    assert added.status_code == 302, added.context["errors"]
    made = models.User.objects.get(email="new@lakeside.example")
    assert [(role.school, role.role) for role in made.roles.all()] == [(people.school, "instructor")]
    assert root.get(reverse("admin:training_user_change", args=[made.pk])).status_code == 200


def test_a_time_zone_that_is_none_is_refused(root, people: Cast):
    answer = root.post(
        reverse("admin:training_school_change", args=[people.school.pk]),
        {"name": "Lakeside", "slug": "lakeside", "time_zone": "Wisconsin"},
    )
    assert "&#x27;Wisconsin&#x27; is no time zone" in answer.content.decode()


@pytest.mark.parametrize(
    ("kind", "of"), [("school", lambda people: people.school), ("user", lambda people: people.ida)]
)
def test_nothing_is_deleted(root, people: Cast, kind, of):
    assert root.post(reverse(f"admin:training_{kind}_delete", args=[of(people).pk])).status_code == 403


def test_a_students_page_is_not_there(root, people: Cast):
    factories.recorded(people.sam)
    assert root.get(f"/admin/training/student/{people.sam.pk}/change/").status_code == 404
