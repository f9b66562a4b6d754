"""Who may see and write whose record, and that it is noted."""

import datetime as dt
import uuid

import pytest
from django.contrib.auth.models import AnonymousUser

from syllabus.engine.time import calendar
from tests.support import factories
from tests.support.cast import Cast
from tests.support.kept import kept
from training import models
from training.models import AccessLog, Student
from training.services import access
from training.services.access import READ, WRITE
from training.services.errors import NotAllowed, NotFound

TODAY = dt.date(2026, 11, 24)
NOON = dt.datetime(2026, 11, 24, 12, tzinfo=dt.UTC)
YESTERDAY, TOMORROW = TODAY - dt.timedelta(days=1), TODAY + dt.timedelta(days=1)

# Who, may read Sam's record, may write it.
WHO = [
    pytest.param(lambda p: p.sams_account, True, False, id="Sam reads his own and does not write it"),
    pytest.param(lambda p: p.ida, True, True, id="Ida, who teaches him"),
    pytest.param(lambda p: p.ada, True, True, id="Ada, who administers his school"),
    pytest.param(
        lambda p: factories.instructor(p.school), False, False, id="an instructor of his school without him"
    ),
    pytest.param(
        lambda p: factories.student(p.school, user=factories.user()).user, False, False, id="a fellow student"
    ),
    pytest.param(lambda p: p.ottos_account, False, False, id="Otto, who studies elsewhere"),
    pytest.param(lambda p: p.olaf, False, False, id="Olaf, who teaches elsewhere"),
    pytest.param(
        lambda p: factories.administrator(p.elsewhere), False, False, id="who administers elsewhere"
    ),
    pytest.param(lambda p: factories.user(), False, False, id="somebody without a role"),
    pytest.param(
        lambda p: models.User.objects.create_superuser("root@lakeside.example"),
        False,
        False,
        id="a superuser without a role",
    ),
    pytest.param(lambda p: AnonymousUser(), False, False, id="somebody who has not signed in"),
    pytest.param(lambda p: None, False, False, id="nobody"),
]


@pytest.mark.parametrize(("who", "reads", "writes"), WHO)
def test_who_may_read_and_write_sams_record(people: Cast, who, reads, writes):
    user = who(people)

    assert access.may(user, READ, people.sam, on=TODAY) is reads
    assert access.may(user, WRITE, people.sam, on=TODAY) is writes
    assert (people.sam in access.visible_students(user, on=TODAY)) is reads
    assert (people.sam in access.visible_students(user, WRITE, on=TODAY)) is writes
    assert opens(user, READ, people.sam) is reads
    assert opens(user, WRITE, people.sam) is writes


def opens(user, action: str, student: Student, on: dt.date = TODAY) -> bool:
    """Whether the record opens to the user for that; it then says so of both actions, as a list would."""
    at = dt.datetime.combine(on, dt.time(12), dt.UTC)
    try:
        found = access.opened(user, student.ref, action, what="a test", via="web", at=at)
    except NotFound:
        return False
    assert found.student == student
    for each in (READ, WRITE):
        assert found.may(each) is access.may(user, each, student, on=on)
    guards = access.guards(user, student, on=on)
    assert found.as_guardian is (guards and student.user_id != user.pk)
    return True


def test_each_sees_their_own_and_nobody_else(people: Cast):
    fellow = factories.student(people.school)

    def seen(user) -> set[Student]:
        return set(access.visible_students(user, on=TODAY))

    assert seen(people.sams_account) == {people.sam}
    assert seen(people.ida) == {people.sam}
    assert seen(people.ada) == {people.sam, fellow}
    assert seen(people.olaf) == seen(people.ottos_account) == {people.otto}


def test_a_student_who_is_seen_for_two_reasons_is_listed_once(people: Cast):
    factories.role("administrator", at=people.school, whose=people.ida)
    factories.assign(people.ida, people.sam)

    assert list(access.visible_students(people.ida, on=TODAY)) == [people.sam]


DATES = [
    pytest.param(TODAY, None, True, id="from the first day"),
    pytest.param(TOMORROW, None, False, id="not before it"),
    pytest.param(YESTERDAY, TODAY, True, id="to the last day"),
    pytest.param(YESTERDAY, YESTERDAY, False, id="not after it"),
]


@pytest.mark.parametrize(("starts", "ends", "sees"), DATES)
def test_an_instructor_sees_a_student_while_the_assignment_lasts(people: Cast, starts, ends, sees):
    bo = factories.instructor(people.school)
    factories.assign(bo, people.sam, starts=starts, ends=ends)

    assert access.may(bo, READ, people.sam, on=TODAY) is sees
    assert opens(bo, READ, people.sam) is sees


@kept
def minor(people: Cast) -> Student:
    """Sam, who comes of age tomorrow."""
    people.sam.birth_date = dt.date(TOMORROW.year - 18, TOMORROW.month, TOMORROW.day)
    people.sam.save()
    return people.sam


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(("starts", "ends", "sees"), DATES)
def test_a_guardian_reads_while_the_consent_holds_and_writes_nothing(minor: Student, starts, ends, sees):
    gus = factories.user()
    factories.guardian(minor, starts=starts, ends=ends, user=gus)

    assert access.may(gus, READ, minor, on=TODAY) is sees
    assert access.guards(gus, minor, on=TODAY) is sees
    assert opens(gus, READ, minor) is sees
    assert not access.may(gus, WRITE, minor, on=TODAY)
    assert not opens(gus, WRITE, minor)


BIRTHS = [
    pytest.param("2008-11-25", 18, "2026-11-24", True, id="to the day before the eighteenth birthday"),
    pytest.param("2008-11-25", 18, "2026-11-25", False, id="not on it"),
    pytest.param("2008-12-01", 18, "2026-11-30", True, id="in the month before, whatever the day"),
    pytest.param("2008-10-31", 18, "2026-11-01", False, id="not in the month after"),
    pytest.param("2008-11-25", 19, "2026-11-25", True, id="where one comes of age at nineteen"),
    pytest.param("2008-02-29", 18, "2026-02-28", True, id="born on 29 February, to the 28th"),
    pytest.param("2008-02-29", 18, "2026-03-01", False, id="born on 29 February, not on 1 March"),
    pytest.param("2008-02-29", 20, "2028-02-28", True, id="in a leap year to the 28th as well"),
    pytest.param("2008-02-29", 20, "2028-02-29", False, id="in a leap year not on the birthday"),
    pytest.param(None, 18, "2026-11-24", False, id="not where the birth date is unknown"),
]


@pytest.mark.parametrize(("born", "of_age_at", "on", "sees"), BIRTHS)
def test_a_guardian_reads_until_the_student_is_of_age(people: Cast, born, of_age_at, on, sees):
    models.School.objects.filter(pk=people.school.pk).update(of_age_at=of_age_at)
    Student.objects.filter(pk=people.sam.pk).update(birth_date=born)
    gus, day = factories.user(), dt.date.fromisoformat(on)
    factories.guardian(people.sam, user=gus)

    assert access.may(gus, READ, people.sam, on=day) is sees
    assert opens(gus, READ, people.sam, day) is sees
    if born:
        assert (calendar.age(dt.date.fromisoformat(born), day) < of_age_at) is sees


def test_a_guardian_reads_no_other_student_and_consent_without_an_account_opens_nothing(
    people: Cast, minor: Student
):
    gus = factories.user()
    factories.guardian(minor, user=gus)
    factories.guardian(minor)
    fellow = factories.student(people.school, birth_date=minor.birth_date)

    assert list(access.visible_students(gus, on=TODAY)) == [minor]
    assert not access.may(gus, READ, fellow, on=TODAY)
    assert not access.may(factories.user(), READ, minor, on=TODAY)


def test_an_assignment_without_the_role_gives_nothing(people: Cast):
    people.ida.roles.all().delete()
    factories.role("instructor", at=people.elsewhere, whose=people.ida)

    assert not access.may(people.ida, READ, people.sam, on=TODAY)
    assert not opens(people.ida, READ, people.sam)


def test_nothing_is_written_to_a_record_that_was_erased(people: Cast):
    Student.objects.filter(pk=people.sam.pk).update(erased_at=NOON)

    assert opens(people.ida, READ, people.sam)
    assert not opens(people.ida, WRITE, people.sam)


def test_who_is_no_longer_active_sees_nothing(people: Cast):
    people.ida.is_active = False

    assert not opens(people.ida, READ, people.sam)

    assert not access.visible_students(people.ida, on=TODAY).exists()
    assert not access.schools(people.ida, access.STAFF).exists()


@pytest.mark.parametrize(
    ("who", "allowed"),
    [
        pytest.param(lambda p: p.ida, True, id="an instructor of the school"),
        pytest.param(lambda p: p.ada, True, id="its administrator"),
        pytest.param(lambda p: p.sams_account, False, id="a student of the school"),
        pytest.param(lambda p: p.olaf, False, id="an instructor of another"),
        pytest.param(lambda p: AnonymousUser(), False, id="somebody who has not signed in"),
    ],
)
def test_who_may_begin_a_new_students_record(people: Cast, who, allowed):
    where = access.schools(who(people), access.STAFF)
    assert where.filter(pk=people.school.pk).exists() is allowed


def test_opening_a_record_is_noted_and_takes_two_queries(people: Cast, django_assert_num_queries):
    with django_assert_num_queries(2):
        found = access.open_record(people.ida, people.sam.ref, what="record", via="api", at=NOON)
        assert found.school.slug == "lakeside"

    entry = AccessLog.objects.get()
    assert (entry.user, entry.student, entry.school) == (people.ida, people.sam, people.school)
    assert (entry.action, entry.what, entry.via, entry.at) == ("read", "record", "api", NOON)


@pytest.mark.parametrize(
    "ref",
    [
        pytest.param(lambda p: p.sam.ref, id="of somebody the user may not see"),
        pytest.param(lambda p: uuid.UUID(int=7), id="of nobody"),
    ],
)
def test_a_record_that_may_not_be_seen_is_not_there(people: Cast, ref):
    with pytest.raises(NotFound):
        access.open_record(people.olaf, ref(people), what="record", via="api", at=NOON)

    assert not AccessLog.objects.exists()


@pytest.mark.any_database  # others here and test_handover make these queries on SQLite
@pytest.mark.parametrize("what", sorted(access.TAKES))
def test_each_thing_is_done_by_those_whom_the_table_names_and_nobody_else(people: Cast, what: str) -> None:
    takes, says = access.TAKES[what]
    at = people.school.slug if "{at!r}" in says else people.school if "{at.name}" in says else people.sam
    allowed = {
        people.ada: takes not in (access.ASK, access.PLAN),
        people.ida: takes in (READ, WRITE, access.STAFF, access.PLAN),
        people.sams_account: takes in (READ, access.ASK, access.PLAN),
        people.olaf: False,
    }
    access.require(None, what, at, on=TODAY)
    for who, may in allowed.items():
        if may:
            access.require(who, what, at, on=TODAY)
        else:
            with pytest.raises(NotAllowed) as refused:
                access.require(who, what, at, on=TODAY)
            assert "{" not in str(refused.value)
    people.ada.is_active = False
    with pytest.raises(NotAllowed):
        access.require(people.ada, what, at, on=TODAY)
