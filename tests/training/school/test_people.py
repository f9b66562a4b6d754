"""The people of a school: who may change them, what is kept of each change, and that no record moves."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from tests.support import factories
from tests.support.cast import Cast, cast
from tests.support.kept import kept
from training.models import Assignment, PeopleChange, Role, Student, User
from training.services import access
from training.services.errors import Conflict, NotAllowed
from training.services.people import invitations, people
from training.services.people.people import PeopleError

AT = dt.datetime(2026, 7, 5, 18, tzinfo=dt.UTC)
TODAY, YESTERDAY = dt.date(2026, 7, 5), dt.date(2026, 7, 4)
RATINGS = [{"category": "airplane", "class": "single-engine land"}]


@kept
def cast_(db: None) -> Cast:
    return cast()


def add(people_: Cast, kind: str = "instructor", email: str = "nora@lakeside.example", **more: Any) -> Any:
    given = {"name": "Nora Example", "by": people_.ada, "at": AT, **more}
    return people.add(people_.school, kind=kind, email=email, **given)


@pytest.mark.parametrize("who", ["ida", "sams_account", "olaf", "ottos_account"])
def test_only_an_administrator_of_the_school_changes_its_people(cast_: Cast, who: str) -> None:
    by, role = getattr(cast_, who), Role.objects.get(user=cast_.ida)
    assignment = Assignment.objects.get(student=cast_.sam)
    tries = [
        lambda: add(cast_, by=by),
        lambda: people.change(role, {"certificate": "x"}, by=by, at=AT),
        lambda: people.end(role, by=by, at=AT),
        lambda: people.assign(cast_.sam, cast_.ida, starts=TODAY, by=by, at=AT),
        lambda: people.end_assignment(assignment, by=by, at=AT),
    ]
    for each in tries:
        with pytest.raises(NotAllowed):
            each()
    assert not PeopleChange.objects.exists()


def test_an_administrator_of_another_school_changes_nothing_here(cast_: Cast) -> None:
    with pytest.raises(NotAllowed):
        add(cast_, by=factories.administrator(cast_.elsewhere))


def test_a_closed_account_administers_nothing(cast_: Cast) -> None:
    cast_.ada.is_active = False
    cast_.ada.save()
    with pytest.raises(NotAllowed):
        add(cast_)


def test_who_joins_gets_the_role_as_it_was_offered(cast_: Cast) -> None:
    made = add(cast_, email=" Nora@Lakeside.Example ", held={"certificate": "9CFI", "ratings": RATINGS})
    assert made.user is None
    assert not Role.objects.filter(user__email="nora@lakeside.example").exists()
    nora = invitations.join(made.invitation, "three words of Nora", at=AT)
    assert (nora.name, nora.email) == ("Nora Example", "nora@lakeside.example")
    assert nora.check_password("three words of Nora")
    role = Role.objects.get(user=nora)
    assert (role.certificate, role.ratings, role.recent_experience_until) == ("9CFI", RATINGS, None)


def test_an_account_that_accepts_keeps_its_name(cast_: Cast) -> None:
    made = add(cast_, email="olaf@hilltop.example", name="Another Name")
    assert made.user is None
    assert Role.objects.filter(user=cast_.olaf).count() == 1
    invitations.accept(made.invitation.pk, by=cast_.olaf, at=AT)
    assert User.objects.get(pk=cast_.olaf.pk).name == "Olaf Example"
    assert Role.objects.filter(user=cast_.olaf).count() == 2


def test_a_second_role_at_the_same_school_needs_no_invitation(cast_: Cast) -> None:
    made = add(cast_, "administrator", "ida@lakeside.example")
    assert (made.user, made.invitation) == (cast_.ida, None)
    assert set(Role.objects.filter(user=cast_.ida).values_list("role", flat=True)) == {
        "instructor",
        "administrator",
    }


def test_a_role_is_held_once(cast_: Cast) -> None:
    with pytest.raises(Conflict, match="is already an instructor at Lakeside Flying"):
        add(cast_, email="ida@lakeside.example")


def test_a_closed_account_is_given_no_role(cast_: Cast) -> None:
    User.objects.filter(pk=cast_.ida.pk).update(is_active=False)
    with pytest.raises(Conflict, match="is closed"):
        add(cast_, "administrator", email="ida@lakeside.example")


def test_a_child_is_a_student_without_an_account(cast_: Cast) -> None:
    made = add(cast_, "student", "", birth_date=dt.date(2014, 7, 5), training_model="C172")
    assert made.user is None
    assert made.student is not None
    assert made.student.birth_date == dt.date(2014, 7, 5)
    assert made.student.enrolments.get().starts == TODAY


def test_a_students_role_given_again_takes_up_the_record_that_is_there(cast_: Cast) -> None:
    people.end(Role.objects.get(user=cast_.sams_account), by=cast_.ada, at=AT)
    made = add(cast_, "student", "sam@lakeside.example", name="Sam Example")
    assert made.student == cast_.sam
    assert Student.objects.filter(school=cast_.school).count() == 1


@pytest.mark.parametrize(
    ("more", "place"),
    [
        pytest.param({"name": ""}, "name", id="no name"),
        pytest.param({"name": "N" * 201}, "name", id="a name too long"),
        pytest.param({"name": "N\x00"}, "name", id="a name that is no text"),
        pytest.param({"email": "nora"}, "email", id="no address"),
        pytest.param({"kind": "owner"}, "role", id="no role"),
        pytest.param({"held": {"certificate": "1" * 41}}, "certificate", id="a certificate too long"),
        pytest.param({"held": {"ratings": [{"category": "kite"}]}}, "ratings[0].category", id="no rating"),
        pytest.param({"held": {"instructor_kind": "pilot"}}, "instructor_kind", id="no kind of instructor"),
        pytest.param({"birth_date": TODAY + dt.timedelta(days=1)}, "birth_date", id="born tomorrow"),
    ],
)
def test_what_cannot_be_kept_is_told_with_its_place(cast_: Cast, more: dict[str, Any], place: str) -> None:
    with pytest.raises(PeopleError) as problem:
        add(cast_, **more)
    assert [fault.place for fault in problem.value.errors] == [place]


def test_a_change_of_a_role_is_kept_with_what_stood_before(cast_: Cast) -> None:
    role = Role.objects.get(user=cast_.ida)
    people.change(role, {"recent_experience_until": dt.date(2027, 1, 31)}, by=cast_.ada, at=AT)
    [change] = PeopleChange.objects.all()
    assert (change.what, change.by, change.user) == ("instructor changed", cast_.ada, cast_.ida)
    assert change.before == {"recent_experience_until": None}
    assert change.after == {"recent_experience_until": "2027-01-31"}


def test_an_instructor_is_a_flight_instructor_unless_it_is_said(cast_: Cast) -> None:
    role = Role.objects.get(user=cast_.ida, school=cast_.school)
    assert role.instructor_kind == "flight"
    people.change(role, {"instructor_kind": "ground"}, by=cast_.ada, at=AT)
    role.refresh_from_db()
    assert role.instructor_kind == "ground"


def test_a_change_to_the_same_is_none(cast_: Cast) -> None:
    role = Role.objects.get(user=cast_.ida)
    people.change(role, {"certificate": role.certificate, "ratings": role.ratings}, by=cast_.ada, at=AT)
    assert not PeopleChange.objects.exists()


def test_only_an_instructors_role_holds_anything(cast_: Cast) -> None:
    with pytest.raises(PeopleError, match="only an instructor's role"):
        people.change(Role.objects.get(user=cast_.ada), {"certificate": "x"}, by=cast_.ada, at=AT)


def test_an_instructor_whose_role_ends_sees_no_record_any_more(cast_: Cast) -> None:
    assert access.may(cast_.ida, access.READ, cast_.sam, on=TODAY)
    people.end(Role.objects.get(user=cast_.ida), by=cast_.ada, at=AT)
    assert not access.may(cast_.ida, access.READ, cast_.sam, on=TODAY)
    assert Assignment.objects.get(student=cast_.sam).ends == YESTERDAY
    assert set(PeopleChange.objects.values_list("what", flat=True)) == {
        "instructor ended",
        "assignment ended",
    }


def test_the_last_administrator_stays(cast_: Cast) -> None:
    own = Role.objects.get(user=cast_.ada)
    with pytest.raises(Conflict, match="is the last administrator"):
        people.end(own, by=cast_.ada, at=AT)
    factories.administrator(cast_.school)
    people.end(own, by=cast_.ada, at=AT)
    assert not Role.objects.filter(pk=own.pk).exists()


def test_an_administrator_with_a_closed_account_is_no_other(cast_: Cast) -> None:
    factories.administrator(cast_.school, is_active=False)
    with pytest.raises(Conflict):
        people.end(Role.objects.get(user=cast_.ada), by=cast_.ada, at=AT)


def test_an_assignment_opens_the_record_and_its_end_closes_it_at_once(cast_: Cast) -> None:
    bo = factories.instructor(cast_.school)
    made = people.assign(cast_.sam, bo, starts=dt.date(2026, 7, 1), by=cast_.ada, at=AT)
    assert access.may(bo, access.READ, cast_.sam, on=TODAY)
    people.end_assignment(made, by=cast_.ada, at=AT)
    assert not access.may(bo, access.READ, cast_.sam, on=TODAY)
    assert Assignment.objects.get(pk=made.pk).ends == YESTERDAY


def test_an_assignment_that_began_today_is_taken_back(cast_: Cast) -> None:
    bo = factories.instructor(cast_.school)
    made = people.assign(cast_.sam, bo, starts=TODAY, by=cast_.ada, at=AT)
    people.end_assignment(made, by=cast_.ada, at=AT)
    assert not Assignment.objects.filter(instructor=bo).exists()
    assert PeopleChange.objects.filter(what="assignment taken back", user=bo).count() == 1


@pytest.mark.parametrize("who", ["ada", "olaf"])
def test_only_an_instructor_of_the_school_is_assigned(cast_: Cast, who: str) -> None:
    with pytest.raises(PeopleError, match="is not an instructor at Lakeside Flying"):
        people.assign(cast_.sam, getattr(cast_, who), starts=TODAY, by=cast_.ada, at=AT)


def test_who_teaches_a_student_already_is_not_assigned_again(cast_: Cast) -> None:
    with pytest.raises(Conflict, match="teaches Sam Example already"):
        people.assign(cast_.sam, cast_.ida, starts=TODAY, by=cast_.ada, at=AT)
