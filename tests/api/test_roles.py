"""Who gets what, for every address there is. A new address without a row here fails."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
import yaml
from django.core.cache import cache
from django.urls import URLPattern, URLResolver, get_resolver
from rest_framework.test import APIClient

from api.v1.base import examples
from syllabus.courses import files as course_files
from syllabus.courses import outlines
from tests.api.conftest import Clients
from tests.support import audits, courses, factories, lessons, mailing, own, releasing, reminding
from tests.support.cast import Cast
from tests.support.factories import CONFIRMED
from tests.support.rows import over_rows
from tests.syllabus.courses.test_course_versions import SMALL
from training import models
from training.ledger.store import checkpoints
from training.services.signing import seals

PREFIX = "api/v1/"
LOOKERS = (
    "anonymous",
    "the student",
    "the instructor",
    "the administrator",
    "another instructor of the school",
    "another student of the school",
    "an instructor elsewhere",
    "a student elsewhere",
    "an administrator elsewhere",
    "a superuser without a role",
    "someone who left",
    "a guardian with consent",
    "a guardian whose consent ended",
)
#: What each of LOOKERS gets, in that order, but for the guardians: ``everybody`` adds theirs.
OPEN = [200] * 10 + [401]
ANY_USER = [401, 200, 200, 200, 200, 200, 200, 200, 200, 200, 401]
READ = [401, 200, 200, 200, 404, 404, 404, 404, 404, 404, 401]
WRITE = [401, 403, 200, 200, 404, 404, 404, 404, 404, 404, 401]
CREATE = [401, 403, 201, 200, 404, 404, 404, 404, 404, 404, 401]  # the administrator sends the same again
ASK = [401, 422, 422, 403, 404, 404, 404, 404, 404, 404, 401]
SIGN = [401, 403, 422, 403, 404, 404, 404, 404, 404, 404, 401]
REVOKE = [401, 403, 422, 422, 404, 404, 404, 404, 404, 404, 401]
STAFF = [401, 404, 200, 200, 200, 404, 404, 404, 404, 404, 401]
ADMINISTRATORS = [401, 403, 403, 200, 403, 403, 403, 403, 200, 403, 401]
ADMINISTERED = [401, 403, 403, 422, 404, 404, 404, 404, 404, 404, 401]  # a reason is missing
OF_ADMINISTRATOR = [401, 404, 404, 200, 404, 404, 404, 404, 404, 404, 401]
INVITED = [401, 204, 404, 404, 404, 404, 404, 404, 404, 404, 401]
TOLD = [401, 200, 200, 404, 404, 404, 404, 404, 404, 404, 401]
ANY_ID = "0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a01"
OF_SCHOOL = [401, 200, 200, 200, 200, 200, 404, 404, 404, 404, 401]
SET_BY_SCHOOL = [401, 403, 403, 200, 403, 403, 404, 404, 404, 404, 401]
OTHER_ID = "0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a02"
PAPER = {"kind": "english-proficiency", "issued": "2026-01-10"}
#: What a guardian with consent gets where it is not what the student gets: no role at the school, nobody's
#: reminders or notices, and no signature.
GUARDIAN = {
    ("courses/<str:course>", "GET"): 404,
    ("courses/<str:course>", "PUT"): 404,
    ("courses/<str:course>/versions/<int:number>", "GET"): 404,
    ("courses/<str:course>/versions/<int:number>/compare", "GET"): 404,
    ("courses/<str:course>/versions/<int:number>/publish", "POST"): 404,
    ("invitations/<int:invitation>/accept", "POST"): 404,
    ("invitations/<int:invitation>/decline", "POST"): 404,
    ("ledger/checkpoint", "GET"): 404,
    ("ledger/consistency", "GET"): 404,
    ("ledger/proof", "GET"): 404,
    ("notices/<int:notice>/read", "POST"): 404,
    ("reminders/<uuid:ref>/read", "POST"): 404,
    ("reminders/<uuid:ref>/snooze", "POST"): 404,
    ("school-minimums/<int:minimum>/end", "POST"): 404,
    ("schools/<slug:school>/aircraft-models", "GET"): 404,
    ("schools/<slug:school>/aircraft-models", "PUT"): 404,
    ("schools/<slug:school>/settings", "GET"): 404,
    ("schools/<slug:school>/settings", "PUT"): 404,
    ("students/<uuid:ref>/lesson-records/<uuid:entry>/acknowledge", "POST"): 403,
    ("students/<uuid:ref>/requests", "POST"): 403,
    ("students/<uuid:ref>/requests/<uuid:entry>/withdraw", "POST"): 403,
    ("students/<uuid:ref>/solo-releases", "POST"): 403,
    ("students/<uuid:ref>/solo-releases/check", "POST"): 403,
    ("students/<uuid:ref>/solo-releases/<uuid:entry>/end", "POST"): 403,
}
#: One row for each address and method: what is sent, and what everybody but the guardians gets.
ROWS: dict[tuple[str, str], tuple[Any, list[int]]] = {
    # Of the school of Ida and Sam; the list is empty for whoever neither instructs nor administers.
    ("aircraft", "GET"): (None, ANY_USER),
    ("aircraft", "POST"): (
        {"school": "lakeside", "registration": "N00ZZ", "model": "C172"},
        [401, 403, 403, 201, 403, 403, 403, 403, 403, 403, 401],
    ),
    ("aircraft/<int:aircraft>/checks", "POST"): (
        {"kind": "annual-inspection", "done": "2026-01-10"},
        [401, 404, 403, 200, 403, 404, 404, 404, 404, 404, 401],
    ),
    ("aircraft/<int:aircraft>/groundings", "POST"): ({"kind": "grounded", "reason": "Oil leak"}, STAFF),
    # No reason is sent: whoever gets as far as being told so may end it.
    ("aircraft/<int:aircraft>/groundings/<int:grounding>/end", "POST"): (
        {},
        [401, 404, 422, 422, 422, 404, 404, 404, 404, 404, 401],
    ),
    # The finding is of Sam's school, the record Ida's own.
    ("audit/run", "POST"): ({}, ADMINISTRATORS),
    ("audit/findings", "GET"): (None, ADMINISTRATORS),
    ("audit/findings/<uuid:finding>/resolve", "POST"): (
        {},
        [401, 404, 404, 422, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("audit/instructors", "GET"): (None, ANY_USER),
    ("audit/instructors/<int:instructor>", "GET"): (
        None,
        [401, 404, 200, 200, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("auth/login", "POST"): ({"email": "sam@lakeside.example", "password": "wrong"}, [401] * 11),
    ("auth/events", "GET"): (None, ANY_USER),
    ("auth/logout", "POST"): (None, [401] + [204] * 9 + [401]),
    ("auth/nonce", "GET"): (None, ANY_USER),
    ("eligibility", "POST"): (examples.question(), OPEN),
    # A failed e-mail of Sam's school. A test goes to whoever asks.
    ("mail", "GET"): (None, ADMINISTRATORS),
    ("mail/test", "POST"): ({}, ADMINISTRATORS),
    ("mail/<uuid:mail>/retry", "POST"): ({}, [401, 403, 403, 204, 403, 403, 403, 403, 404, 403, 401]),
    ("milestones", "GET"): (None, OPEN),
    ("milestones/<str:milestone>", "GET"): (None, OPEN),
    # Of those whose record the caller may read; of nobody where there are none.
    ("turns", "GET"): (None, ANY_USER),
    ("students/", "GET"): (None, ANY_USER),
    ("students/<uuid:ref>/", "GET"): (None, READ),
    # The file is none: whoever gets as far as being told so administers the school.
    ("students/take-over", "POST"): (
        {"school": "lakeside", "file": "UEs=", **CONFIRMED},
        [401, 403, 403, 422, 403, 403, 403, 403, 403, 403, 401],
    ),
    ("students/<uuid:ref>/hand-over", "POST"): (None, READ),
    ("students/<uuid:ref>/changes", "GET"): (None, READ),
    ("students/<uuid:ref>/origins", "GET"): (None, READ),
    ("students/<uuid:ref>/retention", "GET"): (
        None,
        [401, 403, 403, 200, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("students/<uuid:ref>/holds", "POST"): (
        {"reason": "a dispute"},
        [401, 403, 403, 201, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("students/<uuid:ref>/holds/<int:hold>/release", "POST"): ({}, ADMINISTERED),
    ("students/<uuid:ref>/erasure", "POST"): ({}, ADMINISTERED),
    ("students/<uuid:ref>/record", "GET"): (None, READ),
    ("students/<uuid:ref>/record", "PUT"): (examples.RECORD | CONFIRMED, WRITE),
    ("students/<uuid:ref>/eligibility", "GET"): (None, READ),
    ("students/<uuid:ref>/eligibility/<str:milestone>", "GET"): (None, READ),
    ("endorsement-kinds", "GET"): (None, OPEN),
    # The notice is Sam's, and the minimum is of the school of Ida and Sam.
    ("notices", "GET"): (None, ANY_USER),
    ("notices/<int:notice>/read", "POST"): (None, [401, 200] + [404] * 8 + [401]),
    ("school-minimums", "GET"): (None, ANY_USER),
    ("school-minimums", "POST"): (own.SENT, [401, 403, 403, 201, 403, 403, 403, 403, 403, 403, 401]),
    ("school-minimums/<int:minimum>/end", "POST"): (
        {},
        [401, 403, 403, 200, 403, 403, 404, 404, 404, 404, 401],
    ),
    ("schools/<slug:school>/settings", "GET"): (None, OF_SCHOOL),
    ("schools/<slug:school>/settings", "PUT"): ({"taxi_allowance_minutes": 12}, SET_BY_SCHOOL),
    ("schools/<slug:school>/aircraft-models", "GET"): (None, OF_SCHOOL),
    ("schools/<slug:school>/aircraft-models", "PUT"): ({"spellings": []}, SET_BY_SCHOOL),
    # The course is the school's own.
    ("courses", "GET"): (None, ANY_USER),
    ("courses/<str:course>", "GET"): (None, OF_SCHOOL),
    ("courses/<str:course>", "PUT"): (
        yaml.safe_load(SMALL.replace("A small", "Another small")),
        [401, 403, 403, 200, 403, 403, 404, 404, 404, 404, 401],
    ),
    ("courses/<str:course>/versions/<int:number>", "GET"): (None, OF_SCHOOL),
    ("courses/<str:course>/versions/<int:number>/compare", "GET"): (None, OF_SCHOOL),
    ("courses/<str:course>/versions/<int:number>/publish", "POST"): (
        {},
        [401, 403, 403, 422, 403, 403, 404, 404, 404, 404, 401],
    ),
    ("ledger/keys", "GET"): (None, OPEN),
    ("ledger/checkpoint", "GET"): (None, OF_SCHOOL),
    ("ledger/proof", "GET"): (None, READ),
    ("ledger/consistency", "GET"): (None, OF_SCHOOL),
    ("students/<uuid:ref>/documents", "GET"): (None, READ),
    ("students/<uuid:ref>/documents", "POST"): ({"id": ANY_ID, "document": PAPER}, CREATE),
    ("students/<uuid:ref>/attestations", "POST"): ({}, REVOKE),
    ("students/<uuid:ref>/endorsements", "GET"): (None, READ),
    # Its body lacks everything: whoever gets as far as being told so may sign.
    ("students/<uuid:ref>/endorsements", "POST"): ({}, SIGN),
    ("students/<uuid:ref>/endorsements/check", "POST"): ({"kind": "knowledge-test"}, WRITE),
    ("students/<uuid:ref>/endorsements/<uuid:entry>/revoke", "POST"): ({}, REVOKE),
    ("students/<uuid:ref>/solo-releases", "GET"): (None, READ),
    # Their bodies lack everything: whoever gets as far as being told so may ask, decide or end.
    ("students/<uuid:ref>/solo-releases", "POST"): ({}, ASK),
    ("students/<uuid:ref>/solo-releases/check", "POST"): ({}, ASK),
    ("students/<uuid:ref>/solo-releases/<uuid:entry>", "GET"): (None, READ),
    ("students/<uuid:ref>/solo-releases/<uuid:entry>/decide", "POST"): ({}, SIGN),
    ("students/<uuid:ref>/solo-releases/<uuid:entry>/end", "POST"): ({}, ASK),
    ("students/<uuid:ref>/enrolments", "GET"): (None, READ),
    ("students/<uuid:ref>/enrolments", "POST"): ({}, REVOKE),
    ("students/<uuid:ref>/enrolments/<uuid:entry>/end", "POST"): ({}, REVOKE),
    ("students/<uuid:ref>/enrolments/<uuid:entry>/move", "GET"): (
        None,  # no version is named: whoever gets as far as being told so may look
        [401, 422, 422, 422, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("students/<uuid:ref>/enrolments/<uuid:entry>/move", "POST"): ({}, REVOKE),
    ("students/<uuid:ref>/logbook", "GET"): (None, READ),
    ("students/<uuid:ref>/progress", "GET"): (None, READ),
    ("students/<uuid:ref>/lesson-records", "GET"): (None, READ),
    ("students/<uuid:ref>/lesson-records", "POST"): (
        {"id": OTHER_ID, "content": lessons.CONTENT},
        [401, 403, 201, 403, 404, 404, 404, 404, 404, 404, 401],
    ),
    # It is a draft, which is not there for the student.
    ("students/<uuid:ref>/lesson-records/<uuid:entry>", "GET"): (
        None,
        [401, 404, 200, 200, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("students/<uuid:ref>/lesson-records/<uuid:entry>", "PUT"): (
        {"content": lessons.CONTENT},
        [401, 403, 200, 403, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("students/<uuid:ref>/lesson-records/<uuid:entry>/sign", "POST"): ({}, SIGN),
    ("students/<uuid:ref>/lesson-records/<uuid:entry>/acknowledge", "POST"): (
        {},
        [401, 422, 403, 403, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("students/<uuid:ref>/lesson-records/<uuid:entry>/correct", "POST"): ({}, SIGN),
    # What each of them finds: tests/training/school/test_search.py.
    ("search", "GET"): (None, ANY_USER),
    # The role and the assignment are those of another instructor of Sam's.
    ("people", "GET"): (None, ADMINISTRATORS),
    ("people", "POST"): (
        {"school": "lakeside", "role": "instructor", "name": "Ina Example", "email": "ina@lakeside.example"},
        [401, 403, 403, 201, 403, 403, 403, 403, 403, 403, 401],
    ),
    # The invitation is of the school of Ada, and sent to Sam, who is a student there.
    ("people/invitations", "GET"): (None, ADMINISTRATORS),
    ("people/invitations/<int:invitation>/send", "POST"): (None, OF_ADMINISTRATOR),
    ("people/invitations/<int:invitation>/withdraw", "POST"): (
        None,
        [401, 404, 404, 204, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("invitations", "GET"): (None, ANY_USER),
    ("invitations/<int:invitation>/accept", "POST"): (None, INVITED),
    ("invitations/<int:invitation>/decline", "POST"): (None, INVITED),
    ("people/<int:role>", "GET"): (None, OF_ADMINISTRATOR),
    ("people/<int:role>", "PUT"): ({"certificate": "0000001CFI"}, OF_ADMINISTRATOR),
    ("people/<int:role>/end", "POST"): (None, [401, 404, 404, 204, 404, 404, 404, 404, 404, 404, 401]),
    ("people/<int:role>/link", "POST"): (None, OF_ADMINISTRATOR),
    ("students/<uuid:ref>/assignments", "GET"): (None, READ),
    # No instructor is named: whoever gets as far as being told so may assign one.
    ("students/<uuid:ref>/assignments", "POST"): ({}, ADMINISTERED),
    ("students/<uuid:ref>/assignments/<int:assignment>/end", "POST"): (
        None,
        [401, 403, 403, 200, 404, 404, 404, 404, 404, 404, 401],
    ),
    # The reminder is of Sam's: it is there for Sam and the instructor. An administrator is told by a digest.
    ("reminders", "GET"): (None, ANY_USER),
    ("reminders/calendar", "POST"): (None, [401] + [201] * 9 + [401]),
    ("reminders/calendar", "DELETE"): (None, [401] + [204] * 9 + [401]),
    ("reminders/coming", "GET"): (None, ADMINISTRATORS),
    ("reminders/lead-times", "GET"): (None, ADMINISTRATORS),
    ("reminders/lead-times", "PUT"): ({"days": {"medical": [45, 5]}}, ADMINISTRATORS),
    ("reminders/preferences", "GET"): (None, ANY_USER),
    ("reminders/preferences", "PUT"): ({"quiet_from": "20:00"}, ANY_USER),
    ("reminders/<uuid:ref>/read", "POST"): (None, TOLD),
    ("reminders/<uuid:ref>/snooze", "POST"): (
        {"until": "2020-01-01"},  # no day that can be: whoever gets as far as being told so may put it off
        [401, 422, 422, 404, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("students/<uuid:ref>/requests", "GET"): (None, READ),
    # Nothing is asked for: whoever gets as far as being told so may ask, or answer.
    ("students/<uuid:ref>/requests", "POST"): ({}, [401, 422, 403, 403, 404, 404, 404, 404, 404, 404, 401]),
    ("students/<uuid:ref>/requests/<uuid:entry>/answer", "POST"): ({}, REVOKE),
    ("students/<uuid:ref>/requests/<uuid:entry>/withdraw", "POST"): (
        None,
        [401, 200, 403, 403, 404, 404, 404, 404, 404, 404, 401],
    ),
    ("students/<uuid:ref>/guardians", "GET"): (None, READ),
    ("students/<uuid:ref>/guardians", "POST"): (
        {"name": "Gus Example", "email": "gus@lakeside.example", "consent_on": "2026-01-10"},
        WRITE,
    ),
    ("students/<uuid:ref>/account", "POST"): ({"email": "x"}, [401, 403, 403, 422, *READ[4:]]),
    # The description and its page are the same for everybody, whoever is asking.
    ("schema/", "GET"): (None, OPEN),
    ("docs/", "GET"): (None, OPEN),
}
#: What is asked besides the address, where something must be.
QUERIES = {
    "students/<uuid:ref>/changes": "?from=2026-03-01T12:00:00Z",
    "courses/<str:course>/versions/<int:number>/compare": "?with=1",
    "ledger/proof": "?index=0",
    "search": "?q=sam",
    "ledger/consistency": "?from=1",
}


def everybody(route: str, method: str) -> dict[str, int]:
    """What each looker gets. Who guards no more is as good as one without a role."""
    row = ROWS[route, method][1]
    student, nobody = (row[LOOKERS.index(who)] for who in ("the student", "a superuser without a role"))
    return dict(zip(LOOKERS, [*row, GUARDIAN.get((route, method), student), nobody], strict=True))


METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


def addresses(patterns: list[URLPattern | URLResolver], before: str = "") -> Iterator[tuple[str, Any]]:
    for each in patterns:
        route = before + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from addresses(each.url_patterns, route)
        else:
            yield route, each.callback


def served() -> set[tuple[str, str]]:
    """Every address of the API with each method it has."""
    found = set()
    for route, view in addresses(get_resolver().url_patterns):
        if route.startswith(PREFIX):
            methods = [each for each in METHODS if hasattr(view.view_class, each.lower())]
            found |= {(route.removeprefix(PREFIX), each) for each in methods}
    return found


def test_every_address_has_its_row() -> None:
    assert served() == set(ROWS)
    assert set(GUARDIAN) <= set(ROWS)


def lookers(people: Cast) -> dict[str, models.User | None]:
    here, there = people.school, people.elsewhere
    left = factories.instructor(here)
    factories.assign(left, people.sam)
    # So that Sam, whose birth date some rows send, is a minor whenever this runs.
    models.School.objects.filter(pk=here.pk).update(of_age_at=99)
    guards, guarded = factories.user(), factories.user()
    factories.guardian(people.sam, user=guards)
    factories.guardian(people.sam, user=guarded, ends=factories.LONG_AGO + dt.timedelta(days=30))
    return dict(
        zip(
            LOOKERS,
            (
                None,
                people.sams_account,
                people.ida,
                people.ada,
                factories.instructor(here),
                factories.student(here, user=factories.user()).user,
                people.olaf,
                people.ottos_account,
                factories.administrator(there),
                models.User.objects.create_superuser("root@example.org"),
                left,
                guards,
                guarded,
            ),
            strict=True,
        )
    )


def asked(client: APIClient, route: str, method: str, body: Any, people: Cast) -> int:
    path = route.replace("<uuid:ref>", str(people.sam.ref)).replace("<str:milestone>", "faa.first-solo")
    path = path.replace("<uuid:entry>", ANY_ID).replace("<str:course>", "small@lakeside")
    path = path.replace("<slug:school>", "lakeside").replace("<uuid:mail>", ANY_ID)
    path = path.replace("<int:notice>", str(own.KEY)).replace("<int:minimum>", str(own.KEY))
    path = path.replace("<uuid:finding>", ANY_ID).replace("<int:aircraft>", str(own.KEY))
    path = path.replace("<int:grounding>", str(own.KEY))
    if "<int:instructor>" in path:
        path = path.replace("<int:instructor>", str(audits.idas_role(people)))
    path = (
        path.replace("<int:invitation>", str(own.KEY))
        .replace("<int:role>", str(own.KEY))
        .replace("<int:assignment>", str(own.KEY))
    )
    path = path.replace("<int:hold>", "1").replace("<int:number>", "1") + (
        QUERIES.get(route, "") if method == "GET" else ""
    )
    headers = {"If-Match": "*"} if method == "PUT" else {}
    accept = {"docs/": "text/html", "schema/": "application/vnd.oai.openapi+json"}.get(
        route, "application/json"
    )
    answer = client.generic(
        method,
        f"/{PREFIX}{path}",
        b"" if body is None else json.dumps(body),
        content_type="application/json",
        headers={**headers, "Accept": accept},
    )
    return answer.status_code


@pytest.fixture
def clients(people: Cast, signed_in: Clients) -> dict[str, APIClient]:
    """A client of each looker, and beside them a draft and what is the school's own."""
    lessons.draft(people, id=uuid.UUID(ANY_ID), lesson="")
    own.stand(people)
    users = lookers(people)
    made = {who: signed_in(user) for who, user in users.items()}
    left = users["someone who left"]
    models.User.objects.filter(pk=left and left.pk).update(is_active=False)
    return made


def prepare(people: Cast, route: str) -> None:
    """What some addresses are about."""
    if "enrolments" in route or "progress" in route:
        courses.enrolled(people, ref=uuid.UUID(ANY_ID))
    if "course" in route:
        outlines.publish(outlines.save(course_files.read(SMALL, "small"), "lakeside").version, lessons.AT)
    if "reminders/<" in route:
        reminding.told_of(people, people.sam.ref)
    if "invitations/<" in route:
        now = dt.datetime.now(dt.UTC)
        models.Invitation.objects.create(
            pk=own.KEY, school=people.school, email=people.sams_account.email, name="Sam Example",
            role="instructor", by=people.ada, at=now, expires=now + dt.timedelta(days=1),
        )  # fmt: skip
    if "requests/<" in route:
        own.request(people, pk=uuid.UUID(ANY_ID))
    if "mail/<" in route:
        mailing.failed(people, uuid.UUID(ANY_ID))
    if "people" in route or "assignments" in route:
        own.another_instructor(people)
    if "audit" in route:
        audits.stands(people, uuid.UUID(ANY_ID))
    if "solo-releases/<" in route:
        releasing.asked(people, entry=uuid.UUID(ANY_ID))
    if "ledger" in route:
        lessons.signed(people)
        checkpoints.issue(seals.tree_of(people.school), at=lessons.AT)


@pytest.mark.any_database  # test_contract makes every call on SQLite
@over_rows(("route", "method"), lambda: sorted(served()), undo=True)
def test_everybody_gets_what_their_role_gives(
    people: Cast, clients: dict[str, APIClient], route: str, method: str
) -> None:
    body, _ = ROWS[route, method]
    prepare(people, route)
    got = {}
    for who, client in clients.items():
        cache.clear()  # so many tries to sign in within a moment are too many
        got[who] = asked(client, route, method, body, people)
    assert got == everybody(route, method)


@over_rows("who", LOOKERS[1:])
def test_the_list_has_only_whom_the_looker_may_read(
    people: Cast, clients: dict[str, APIClient], who: str
) -> None:
    sees_sam = everybody("students/<uuid:ref>/", "GET")[who] == 200
    answer = clients[who].get(f"/{PREFIX}students/")
    refs = [each["ref"] for each in answer.json().get("students", [])]
    assert (str(people.sam.ref) in refs) is sees_sam


@pytest.mark.any_database  # test_contract makes every call on SQLite
def test_an_address_has_no_other_method(people: Cast, signed_in: Clients) -> None:
    client = signed_in(people.ida)
    others = {(route, method) for route, _ in ROWS for method in METHODS} - set(ROWS)
    got = {(route, method): asked(client, route, method, {}, people) for route, method in sorted(others)}
    assert {row: status for row, status in got.items() if status != 405} == {}
