"""Fills a database and asks it questions: a process of its own, for a database that is not the tests' own.

Arguments are steps, each a word with what it needs after a blank, and each prints one line of JSON:

``fill``          two schools, five students' records, two signed lessons, a checkpoint, pages made ahead
``ask [NUMBER]``  every student's record, and report for every milestone; how many students there are
``sign``          one more signed lesson; says its place in the ledger
``key``           the id of this installation's signing key
``manage …``      a management command: its exit code, and what it wrote
"""

from __future__ import annotations

import datetime as dt
import io
import json
import os
import pathlib
import shlex
import sys
from typing import Any

RECORDS = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "records"
ON = dt.date(2026, 11, 20)
#: The key of a session that is open while the backup is made.
OPEN_SESSION = "akeythatopensthewholeaccount"


def fill() -> Any:
    from allauth.usersessions.models import UserSession
    from django.contrib.sessions.models import Session

    from syllabus.engine.record import document
    from tests.support import factories, lessons
    from tests.support.cast import cast
    from training.ledger.store import checkpoints
    from training.services.records import page_cache
    from training.services.signing import seals

    people = cast()
    for path in sorted(RECORDS.glob("*.json")):
        written = document.parse(json.loads(path.read_text(encoding="utf-8")))
        assert written.student
        whose = factories.student(
            people.school, name=written.student.name, birth_date=written.student.birth_date
        )
        factories.attested(whose, written, at=factories.NOON)
    for day in ("2026-03-01", "2026-03-02"):
        lessons.signed(
            people, lessons.flown(date=day, off=f"{day}T13:00:00-06:00", on=f"{day}T14:24:00-06:00")
        )
    checkpoints.issue(seals.tree_of(people.school), at=factories.NOON)
    assert page_cache.ahead(people.sam.pk, factories.NOON)
    Session.objects.create(session_key=OPEN_SESSION, session_data="", expire_date=factories.NOON)
    UserSession.objects.create(user=people.ida, session_key=OPEN_SESSION, ip="10.0.0.7", user_agent="")


def ask(students: str = "5") -> Any:
    from syllabus.engine.record import document
    from syllabus.engine.rules.reasons import NotCovered
    from syllabus.law import rulebook
    from training import models, record, reports

    def answer(student: models.Student, milestone: str) -> Any:
        try:
            return reports.eligibility(student, milestone, ON).as_json()
        except NotCovered as refused:
            return str(refused)

    said = {}
    for student in models.Student.objects.order_by("pk"):
        said[str(student.ref)] = {
            "record": document.dump(record.of(student)),
            "reports": {name: answer(student, name) for name in sorted(rulebook.load().milestones)},
        }
    assert len(said) == int(students)
    return said


def sign() -> Any:
    from tests.support import lessons
    from tests.support.cast import Cast
    from training import models

    school = models.School.objects.get(slug="lakeside")
    people = Cast(
        **{name: models.User.objects.get(email=f"{name}@lakeside.example") for name in ("ida", "ada")},
        school=school,
        sam=models.Student.objects.get(user__email="sam@lakeside.example"),
        elsewhere=models.School.objects.get(slug="hilltop"),
        olaf=models.User.objects.get(email="olaf@hilltop.example"),
        otto=models.Student.objects.get(name="Otto Example"),
    )
    day = "2026-02-28"
    said = lessons.flown(date=day, off=f"{day}T13:00:00-06:00", on=f"{day}T14:24:00-06:00")
    lesson = lessons.signed(people, said)
    return lesson.sign_off.ledger_index


def key() -> Any:
    from training.ledger.store import keys

    return keys.signer().kid


def manage(line: str) -> Any:
    from django.core.management import CommandError, call_command

    out, code = io.StringIO(), 0
    try:
        call_command(*shlex.split(line), stdout=out)
    except CommandError as fault:
        return {"code": fault.returncode, "out": out.getvalue(), "fault": str(fault)}
    except SystemExit as ended:
        code = int(ended.code or 0)
    return {"code": code, "out": out.getvalue(), "fault": ""}


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")
    import django

    django.setup()
    steps = {"fill": fill, "ask": ask, "sign": sign, "key": key, "manage": manage}
    for step in sys.argv[1:]:
        word, _, rest = step.partition(" ")
        print(json.dumps(steps[word](*([rest] if rest else []))), flush=True)
