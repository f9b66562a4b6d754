"""After an erasure nobody finds the student again: every table is read, whatever is in it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from io import StringIO
from typing import Any
from unittest import mock

import pytest
import time_machine
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.socialaccount.models import SocialAccount
from allauth.usersessions.models import UserSession
from django.contrib.admin.models import ADDITION, LogEntry
from django.contrib.contenttypes.models import ContentType
from django.core.management import call_command
from django.db import connection
from django.test import Client
from knox.models import AuthToken

from syllabus.engine.record import record as engine
from tests.support import audits, factories, handing, reminding
from tests.support.cast import Cast, cast
from tests.support.kept import kept
from tests.support.page_cache import cached
from training import models, record
from training.services import sweep as sweeping
from training.services.audit import findings
from training.services.endorsements import endorsements
from training.services.operations import clock
from training.services.people import guardians, people
from training.services.records import erasure, page_cache, records
from training.services.reminders import outgoing

pytestmark = pytest.mark.django_db
NAME, EMAIL, BORN = "Quirin Wäckelmann", "quirin.w@waterside.example", dt.date(2009, 5, 17)
GUARDIAN, GUARDIANS = "Gundula Wäckelmann", "gundula@waterside.example"
#: What is looked for, in small letters: each name by itself, both addresses, the birth date.
NEEDLES = (
    "quirin", "wäckelmann", "w\\u00e4ckelmann", "gundula", EMAIL, GUARDIANS, "2009-05-17", "17 may 2009",
)  # fmt: skip
AFTER = dt.datetime(2029, 6, 1, 18, tzinfo=dt.UTC)


@kept
def somebody(db: None) -> Cast:
    """A student who is in every table that a student can be in."""
    found = cast()
    sam = found.sam
    models.User.objects.filter(pk=found.sams_account.pk).update(name=NAME, email=EMAIL)
    models.Student.objects.filter(pk=sam.pk).update(name=NAME, birth_date=BORN)
    sam.refresh_from_db()
    account = found.sams_account
    account.refresh_from_db()
    handing.trained(found)
    reminding.enrolled(sam)
    account.set_password("a fine day for it")
    account.save()
    EmailAddress.objects.create(user=account, email=EMAIL, verified=True, primary=True)
    Authenticator.objects.create(user=account, type="totp", data={"secret": "x"})
    SocialAccount.objects.create(user=account, provider="school", uid=EMAIL)
    AuthToken.objects.create(user=account)
    models.ReminderPreferences.objects.create(user=account)
    LogEntry.objects.create(
        user=found.ada, content_type=ContentType.objects.get_for_model(models.User), object_id=account.pk,
        object_repr=NAME, action_flag=ADDITION, change_message="",
    )  # fmt: skip
    signed_in = Client()
    signed_in.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    assert signed_in.get("/", follow=True).status_code == 200
    guardian = guardians.record(
        sam, name=GUARDIAN, email=GUARDIANS, consent_on=handing.AT.date(), consent_until=None, by=found.ada,
        at=handing.AT, via="test",
    )  # fmt: skip
    guardians.give_account(guardian, by=found.ada, at=handing.AT)
    factories.accepted(GUARDIANS)
    another = guardians.record(
        sam, name=GUARDIAN, email=f"2.{GUARDIANS}", consent_on=handing.AT.date(), consent_until=None,
        by=found.ada, at=handing.AT, via="test",
    )  # fmt: skip
    guardians.give_account(another, by=found.ada, at=handing.AT)  # this invitation waits
    people.assign(sam, other_instructor(found), starts=handing.AT.date(), by=found.ada, at=handing.AT)
    medical = engine.Document("m1", "medical", dt.date(2026, 3, 10), "third", remarks=f"of {NAME}")
    record.add(sam, "documents", medical, at=handing.AT)
    sam.refresh_from_db()
    given = models.Endorsement.objects.filter(student=sam, sealed=True).get()
    endorsements.revoke(given, by=found.ida, reason=f"{NAME} asked for it", at=handing.AT, via="api")
    moment = handing.AT
    with mock.patch.object(clock, "doubt", return_value=""):  # kept before ``clock_in_order`` holds
        for _ in range(3):
            moment += dt.timedelta(days=1)
            sweeping.sweep(now=lambda then=moment: then)
    findings.recompute(found.school, found.school.day(moment), at=moment, by=found.ada, via="test")
    for each in models.Finding.objects.filter(student=sam, gone_at=None):
        findings.resolve(each, how="note", note=f"{NAME} was told.", by=found.ada, at=moment, via="test")
    changed = {"user": account, "before": {"name": NAME}, "after": {"reason": f"so asked {EMAIL}"}}
    people.note(found.school, found.ada, "role changed", moment, **changed)
    erasure.hold(sam, f"{NAME} disputes a fee", by=found.ada, at=moment, via="test")
    outgoing.link(EMAIL, at=moment)
    outgoing.notice(account, "About your account", f"For {NAME}", at=moment)
    models.Delivery.objects.filter(kind="account").update(state="failed", fault=f"no {EMAIL} here")
    records.export_document(sam, by=found.ada, via="api", at=moment)
    handing.made(found, at=moment)
    return found


def other_instructor(found: Cast) -> models.User:
    return factories.instructor(found.school, name="Bo Example", email="bo@lakeside.example")


def tables() -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """Every table of the database with every row; of the page cache what the bytes of a row say."""
    yield page_cache.TABLE, [{"key": key, "value": html} for key, html in cached().items()]
    for name in sorted(connection.introspection.table_names()):
        with connection.cursor() as cursor:
            cursor.execute(f'SELECT * FROM "{name}"')
            columns = [each[0] for each in cursor.description]
            yield name, [dict(zip(columns, row, strict=True)) for row in cursor.fetchall()]


def readable(value: Any) -> str:
    if isinstance(value, bytes | memoryview):
        return bytes(value).decode("utf-8", "replace")
    return str(value)


def traces() -> set[tuple[str, str, str]]:
    """Table, column and needle, wherever one stands."""
    return {
        (table, column, needle)
        for table, rows in tables()
        for row in rows
        for column, value in row.items()
        for needle in NEEDLES
        if needle in readable(value).lower()
    }


def erase(somebody: Cast, reason: str = "asked for") -> erasure.Plan:
    for held in models.RetentionHold.objects.filter(released_at=None):
        erasure.release(held, f"{NAME} has paid", by=somebody.ada, at=AFTER, via="test")
    ended = handing.AT.date() + dt.timedelta(days=30)
    models.Enrolment.objects.filter(student=somebody.sam).update(ends=ended)
    return erasure.erase(somebody.sam, reason, by=somebody.ada, at=AFTER, via="test")


def test_nothing_readable_is_left_in_any_table(somebody: Cast) -> None:
    before = {table for table, _, _ in traces()}
    # The search sees what there is: these at least told the name, an address or the birth date.
    assert {
        "account_emailaddress", "django_admin_log", "ledger_entrybody", "training_delivery",
        "training_document", "training_endorsement", "training_endorsementseal", "training_guardian",
        "training_invitation", "training_page_cache",
        "training_peoplechange", "training_resolution", "training_retentionhold", "training_revocation",
        "training_student", "training_user",
    } <= before  # fmt: skip
    done = erase(somebody)
    assert traces() == set()
    assert not [key for key in cached() if key.startswith(f"{somebody.sam.pk}:")]
    assert (len(done.accounts), dict(done.named)) == (2, {})
    assert "[erased] disputes a fee" in models.RetentionHold.objects.get().reason


def test_whoever_was_erased_signs_in_no_more(somebody: Cast) -> None:
    account, guardian = somebody.sams_account, models.Guardian.objects.get(user__isnull=False).user
    assert guardian
    assert models.SignInEvent.objects.filter(user=account).exists()
    erase(somebody)
    for each in (account, guardian):
        each.refresh_from_db()
        assert (each.name, each.is_active, each.has_usable_password()) == ("", False, False)
        assert each.email.endswith("@erased.invalid")
        for model in (EmailAddress, Authenticator, AuthToken, UserSession, models.SignInEvent):
            assert not model.objects.filter(user=each).exists(), model
    # Who looked at the record is known by the account, which says no name.
    assert models.AccessLog.objects.filter(student=somebody.sam, user=account).exists()


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize("kind", ["student", "instructor", "guardian"])
def test_an_account_with_another_use_stays_and_is_said(somebody: Cast, kind: str) -> None:
    account = somebody.sams_account
    if kind == "instructor":
        factories.role("instructor", at=somebody.elsewhere, whose=account)
    elif kind == "student":
        factories.student(somebody.elsewhere, user=account)
    else:
        factories.guardian(somebody.otto, user=account)
    done = erase(somebody)
    account.refresh_from_db()
    assert (account.email, account.is_active, len(done.accounts)) == (EMAIL, True, 1)
    assert done.named["users"] == 1
    assert "An account with another use" in erasure.STAYS


@pytest.mark.any_database  # others here and test_erasure make these queries on SQLite
@pytest.mark.parametrize(
    ("reason", "told"),
    [
        pytest.param(f"{NAME} asked for it", NAME, id="the whole name"),
        pytest.param(
            "a mail from QUIRIN.W@waterside.example", "QUIRIN.W@waterside.example", id="the address"
        ),
        pytest.param("Quirin asked for it", "Quirin", id="the first name"),
        pytest.param(f"asked by {GUARDIAN}", GUARDIAN, id="a guardian"),
        pytest.param("asked for, quirinal and all", None, id="a word that only begins so"),
    ],
)
def test_the_reason_that_is_sealed_tells_no_name(somebody: Cast, reason: str, told: str | None) -> None:
    if told is None:
        assert erase(somebody, reason).bodies
        return
    with pytest.raises(erasure.ErasureError, match="without names") as refused:
        erase(somebody, reason)
    assert told in str(refused.value)
    assert models.Flight.objects.filter(student=somebody.sam).exists()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_words_about_another_that_still_name_the_student_are_counted(somebody: Cast) -> None:
    about = {"school": somebody.school, "student": None, "instructor": somebody.ida}
    found = audits.stands(somebody, **about, kind="training-hours")
    findings.resolve(found, how="note", note=f"Flew with {NAME}.", by=somebody.ada, at=AFTER, via="test")
    done = erase(somebody)
    assert dict(done.named) == {"entry bodies": 1, "resolutions": 1}


def test_the_command_says_what_is_closed(somebody: Cast) -> None:
    out = StringIO()
    with time_machine.travel(AFTER, tick=False):
        call_command("erase_student", str(somebody.sam.ref), reason="asked for", stdout=out)
    assert (
        "Would be closed, with name and e-mail removed: 2 accounts that have no other use." in out.getvalue()
    )
    assert "AGAINST: On hold since" in out.getvalue()
