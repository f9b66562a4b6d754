"""An address opens nothing by its name: its owner accepts, and nobody learns whether it has an account."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from knox.models import AuthToken
from rest_framework.test import APIClient

from tests.support import factories, lessons
from tests.support.cast import Cast, cast
from tests.support.kept import kept
from tests.support.mailing import mails_sent
from tests.support.rows import undone
from tests.training.web.test_pages import text_of
from training.models import Guardian, Invitation, PeopleChange, Role, Student, User
from training.services import access
from training.services.errors import Conflict, NotAllowed, NotFound
from training.services.people import guardians, invitations, people

AT = lessons.AT
HERE = "/school/lakeside/people/"
KNOWN, UNKNOWN = "otto@hilltop.example", "nobody@hilltop.example"
PASSWORD = "four words for the school"


@kept
def cast_(db: None) -> Cast:
    return cast()


@pytest.fixture(autouse=True)
def the_day() -> Iterator[None]:
    cache.clear()
    with time_machine.travel(AT, tick=False):
        yield


@pytest.fixture
def ada(client: Client, cast_: Cast) -> Client:
    client.force_login(cast_.ada)
    return client


def offered(cast_: Cast, email: str = KNOWN, kind: str = "instructor", **more: Any) -> Invitation:
    said = {"name": "Otto Example", "by": cast_.ada, "at": AT, **more}
    found = people.add(cast_.school, kind=kind, email=email, **said).invitation
    assert found
    return found


def link() -> str:
    [found] = re.findall(r"http://localhost:8000(/invitations/\S+)", str(mails_sent()[-1].body))
    return str(found)


def program(user: User) -> APIClient:
    _, token = AuthToken.objects.create(user=user)
    return APIClient(headers={"authorization": f"Token {token}"})


# What is told of an address


def by_page(client: Client, email: str, kind: str) -> tuple[Any, ...]:
    answer = client.post(f"{HERE}add/", {"role": kind, "name": "Nora Example", "email": email}, follow=True)
    return answer.status_code, text_of(answer), text_of(client.get(HERE))


def by_program(api: APIClient, email: str, kind: str) -> tuple[Any, ...]:
    sent = {"school": "lakeside", "role": kind, "name": "Nora Example", "email": email}
    if kind == "student":
        sent["id"] = "0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9c01"
    answer = api.post("/api/v1/people", sent)
    listed = api.get("/api/v1/people/invitations")
    return answer.status_code, answer.content.decode(), listed.content.decode()


@pytest.mark.parametrize("kind", ["student", "instructor", "administrator"])
@pytest.mark.parametrize("way", [by_page, by_program])
def test_the_school_gets_the_same_answer_after_the_same_statements_whoevers_address_it_is(
    ada: Client, cast_: Cast, way: Callable[..., tuple[Any, ...]], kind: str
) -> None:
    """The same statements and the same e-mail take the same time: there is nothing else that could differ."""
    User.objects.create_user("closed@hilltop.example", is_active=False)
    asks = program(cast_.ada) if way is by_program else ada
    with undone():
        way(asks, "first@hilltop.example", kind)  # whatever is worked out once
    seen = []
    for email in (KNOWN, UNKNOWN, "olaf@hilltop.example", "closed@hilltop.example"):
        cache.clear()
        mail.outbox.clear()
        with undone():
            with CaptureQueriesContext(connection) as asked:
                told = way(asks, email, kind)
            [sent] = mails_sent()
        answers = [_blank(each, email) for each in (*told, sent.subject, sent.body)]
        seen.append((answers, [_blank(each["sql"], email) for each in asked.captured_queries]))
    for answers, statements in seen[1:]:
        assert answers == seen[0][0]
        assert statements == seen[0][1]
    assert "Invitation sent to ADDRESS" in str(seen[0][0])


def _blank(told: Any, email: str) -> Any:
    if not isinstance(told, str):
        return told
    told = re.sub(r"/invitations/[^/\s]+/", "/invitations/KEY/", told.replace(email, "ADDRESS"))
    told = re.sub(r"[0-9a-f]{8}-?([0-9a-f]{4}-?){3}[0-9a-f]{12}", "UUID", told)
    return re.sub(r"\d+", "N", told)


def test_until_it_is_accepted_neither_sees_anything_of_the_other(ada: Client, cast_: Cast) -> None:
    by_page(ada, KNOWN, "administrator")
    otto = cast_.ottos_account
    assert not access.schools(otto).exists()
    assert "Otto" not in text_of(ada.get(HERE))
    theirs = Client()
    theirs.force_login(otto)
    assert theirs.get(HERE).status_code == 404
    assert "Ada Example invites you to Lakeside Flying as administrator" in text_of(theirs.get("/account/"))


# From the link on


def test_an_account_elsewhere_accepts_while_signed_in(ada: Client, cast_: Cast) -> None:
    by_page(ada, KNOWN, "instructor")
    theirs = Client()
    address = link()
    assert theirs.get(address)["Location"] == f"/login/?next={address}"
    theirs.force_login(cast_.ottos_account)
    assert theirs.get(address)["Location"] == "/account/"
    pk = Invitation.objects.get().pk
    told = theirs.post(f"/account/invitations/{pk}/accept/", follow=True)
    assert "You are now instructor at Lakeside Flying." in text_of(told)
    assert Role.objects.filter(user=cast_.ottos_account, school=cast_.school, role="instructor").exists()
    assert "otto@hilltop.example" in text_of(ada.get(HERE))
    assert theirs.post(f"/account/invitations/{pk}/accept/").status_code == 404
    assert theirs.get(address).status_code == 404


def test_who_has_no_account_makes_one_by_the_link_alone(ada: Client, cast_: Cast) -> None:
    by_page(ada, UNKNOWN, "student")
    student = Student.objects.get(name="Nora Example")
    theirs, address = Client(), link()
    assert "Ada Example invites you to Lakeside Flying as student" in text_of(theirs.get(address))
    weak = theirs.post(address, {"new_password1": "short", "new_password2": "short"})
    assert (weak.status_code, User.objects.filter(email=UNKNOWN).exists()) == (422, False)
    done = theirs.post(address, {"new_password1": PASSWORD, "new_password2": PASSWORD}, follow=True)
    assert "Account created. Sign in with your e-mail address." in text_of(done)
    theirs.post("/login/", {"login": UNKNOWN, "password": PASSWORD})
    assert theirs.get(f"/students/{student.ref}/").status_code == 200
    assert theirs.get(address).status_code == 404


def test_who_is_invited_declines_with_and_without_an_account(ada: Client, cast_: Cast) -> None:
    by_page(ada, UNKNOWN, "instructor")
    assert "declined" in text_of(Client().post(link(), {"decline": "yes"}, follow=True))
    by_page(ada, KNOWN, "instructor")
    theirs = Client()
    theirs.force_login(cast_.ottos_account)
    pk = Invitation.objects.get().pk
    assert "declined" in text_of(theirs.post(f"/account/invitations/{pk}/decline/", follow=True))
    assert not Invitation.objects.exists()
    assert not User.objects.filter(email=UNKNOWN).exists()
    assert "instructor declined, by the person invited" in text_of(ada.get(HERE))
    declined = PeopleChange.objects.filter(what="instructor declined")
    assert [(each.by, each.user) for each in declined] == [(None, None)] * 2  # which had one, nobody sees


def test_anothers_invitation_is_not_there(ada: Client, cast_: Cast) -> None:
    by_page(ada, KNOWN, "instructor")
    theirs, pk = Client(), Invitation.objects.get().pk
    theirs.force_login(cast_.olaf)
    for how in ("accept", "decline"):
        assert theirs.post(f"/account/invitations/{pk}/{how}/").status_code == 404
    told = theirs.get(link(), follow=True)
    assert "sent to another e-mail address" in text_of(told)
    assert "Lakeside" not in text_of(told)
    assert Invitation.objects.count() == 1


@pytest.mark.parametrize("key", ["", "WzEsMl0:x", "a", "WyIxIiwieCJd:AAAAAAAA"])
def test_a_made_up_link_opens_nothing(cast_: Cast, key: str) -> None:
    invited = offered(cast_)
    made_up = f"/invitations/{key}/" if key else invitations.link(invited).partition("8000")[2][:-6] + "/"
    assert Client().get(made_up).status_code == 404


# It ends


def test_it_expires_and_is_sent_again_with_another_link(ada: Client, cast_: Cast) -> None:
    by_page(ada, KNOWN, "instructor")
    old, pk = link(), Invitation.objects.get().pk
    later = AT + people.INVITED_FOR
    with time_machine.travel(later, tick=False):
        ada.force_login(cast_.ada)
        assert Client().get(old).status_code == 404
        with pytest.raises(NotFound):
            invitations.accept(pk, by=cast_.ottos_account, at=later)
        assert "expired on" in text_of(ada.get(HERE))
        told = ada.post(f"{HERE}invitations/{pk}/again/", follow=True)
        assert "Invitation sent to otto@hilltop.example." in text_of(told)
        assert Client().get(old).status_code == 404
        assert Client().get(link()).status_code == 302
        invitations.accept(pk, by=cast_.ottos_account, at=later)


def test_it_is_withdrawn(ada: Client, cast_: Cast) -> None:
    by_page(ada, KNOWN, "instructor")
    pk = Invitation.objects.get().pk
    told = ada.post(f"{HERE}invitations/{pk}/withdraw/", follow=True)
    assert "Invitation of otto@hilltop.example withdrawn." in text_of(told)
    assert Client().get(link()).status_code == 404
    with pytest.raises(NotFound):
        invitations.accept(pk, by=cast_.ottos_account, at=AT)
    assert PeopleChange.objects.latest("pk").what == "instructor withdrawn"


def test_no_address_gets_mail_without_end(ada: Client, cast_: Cast) -> None:
    by_page(ada, KNOWN, "instructor")
    pk = Invitation.objects.get().pk
    told = [text_of(ada.post(f"{HERE}invitations/{pk}/again/", follow=True)) for _ in range(4)]
    assert len(mails_sent()) == 3
    assert "too many were sent already" in told[-1]


@pytest.mark.parametrize("who", ["ida", "sams_account", "olaf"])
def test_only_an_administrator_of_the_school_sends_again_or_withdraws(cast_: Cast, who: str) -> None:
    pk = offered(cast_).pk
    for act in (invitations.renew, invitations.withdraw):
        with pytest.raises(NotAllowed):
            act(cast_.school, pk, by=getattr(cast_, who), at=AT)
    theirs = factories.administrator(cast_.elsewhere)
    with pytest.raises(NotFound):
        invitations.withdraw(cast_.elsewhere, pk, by=theirs, at=AT)


def test_an_address_is_invited_to_one_role_once(cast_: Cast) -> None:
    offered(cast_)
    with pytest.raises(Conflict, match="is already invited as an instructor"):
        offered(cast_)
    assert not Student.objects.filter(name="Otto Example", school=cast_.school).exists()
    offered(cast_, kind="administrator")


def test_a_student_whose_invitation_was_withdrawn_is_invited_to_the_same_record(
    cast_: Cast, ada: Client
) -> None:
    first = offered(cast_, kind="student")
    record = first.student
    assert record
    page = f"/school/lakeside/students/{record.ref}/"
    assert f"{KNOWN} is invited to this record." in text_of(ada.get(page))
    with pytest.raises(Conflict, match="already invited to this record"):
        invitations.to_record(record, UNKNOWN, by=cast_.ada, at=AT)
    invitations.withdraw(cast_.school, first.pk, by=cast_.ada, at=AT)
    wrong = ada.post(f"{page}account/", {"email": "otto"})
    assert wrong.status_code == 422
    assert "is not an e-mail address" in text_of(wrong)
    mail.outbox.clear()
    ada.post(f"{page}account/", {"email": KNOWN})
    assert [each.to for each in mails_sent()] == [[KNOWN]]
    invitations.accept(Invitation.objects.get().pk, by=cast_.ottos_account, at=AT)
    assert list(Student.objects.filter(user=cast_.ottos_account, school=cast_.school)) == [record]
    with pytest.raises(Conflict, match="has an account already"):
        invitations.to_record(record, UNKNOWN, by=cast_.ada, at=AT)


def test_an_account_of_the_school_takes_up_a_record_at_once(cast_: Cast) -> None:
    child = factories.student(cast_.school)
    url = f"/api/v1/students/{child.ref}/account"
    assert program(cast_.ada).post(url, {"email": cast_.ida.email}).json() == {"mail": None}
    child.refresh_from_db()
    assert child.user == cast_.ida
    assert Role.objects.filter(user=cast_.ida, school=cast_.school, role="student").exists()
    other = factories.student(cast_.school)
    again = program(cast_.ada).post(f"/api/v1/students/{other.ref}/account", {"email": cast_.ida.email})
    assert again.status_code == 409
    with pytest.raises(NotAllowed):
        invitations.to_record(other, UNKNOWN, by=cast_.ida, at=AT)


def test_a_second_record_at_a_school_is_refused(cast_: Cast) -> None:
    invited = offered(cast_, kind="student")
    factories.student(cast_.school, user=cast_.ottos_account)
    with pytest.raises(Conflict, match="has a record at this school already"):
        invitations.accept(invited.pk, by=cast_.ottos_account, at=AT)


def test_a_guardian_with_an_account_elsewhere_accepts_too(cast_: Cast) -> None:
    guardian = factories.guardian(cast_.sam)
    Guardian.objects.filter(pk=guardian.pk).update(email=KNOWN)
    guardian.refresh_from_db()
    invited = guardians.give_account(guardian, by=cast_.ada, at=AT)
    assert isinstance(invited, Invitation)
    guardian.refresh_from_db()
    assert guardian.user is None
    invitations.accept(invited.pk, by=cast_.ottos_account, at=AT)
    guardian.refresh_from_db()
    assert guardian.user == cast_.ottos_account
    assert not Role.objects.filter(school=cast_.school, user=cast_.ottos_account).exists()


def test_the_api_lists_answers_and_withdraws(cast_: Cast) -> None:
    invited = offered(cast_)
    mine, theirs = program(cast_.ada), program(cast_.ottos_account)
    [listed] = mine.get("/api/v1/people/invitations").json()["invitations"]
    assert (listed["id"], listed["email"], listed["student"]) == (invited.pk, KNOWN, None)
    [own] = theirs.get("/api/v1/invitations").json()["invitations"]
    assert (own["school"], own["role"], own["by"]) == ("Lakeside Flying", "instructor", "Ada Example")
    sent = mine.post(f"/api/v1/people/invitations/{invited.pk}/send")
    assert sent.json() == {"mail": "Invitation sent to otto@hilltop.example."}
    assert theirs.post(f"/api/v1/invitations/{invited.pk}/accept").status_code == 204
    assert Role.objects.filter(user=cast_.ottos_account, school=cast_.school).exists()
    another = offered(cast_, UNKNOWN)
    assert mine.post(f"/api/v1/people/invitations/{another.pk}/withdraw").status_code == 204
    assert mine.get("/api/v1/people/invitations").json() == {"invitations": []}


def test_days_of_an_offer_come_back_as_days(cast_: Cast) -> None:
    invited = offered(cast_, held={"recent_experience_until": dt.date(2027, 1, 31), "certificate": "9"})
    invitations.accept(invited.pk, by=cast_.ottos_account, at=AT)
    role = Role.objects.get(user=cast_.ottos_account, school=cast_.school)
    assert (role.recent_experience_until, role.certificate) == (dt.date(2027, 1, 31), "9")
