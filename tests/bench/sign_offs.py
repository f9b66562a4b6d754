"""Sign-offs a second, beside bare INSERTs of the same rows, as the school's ledger grows.

A sign-off goes through ``training.services.lessons.sign_offs``: every check, lock and hash. The bare
transaction puts the very rows of such a sign-off into the same tables, each table's by one statement, and
commits. Both go through the same connection; rounds of both alternate.

Up to the size that is measured the ledger is grown in bulk: entries made by the ledger's own functions, and
with each entry copies of the rows that a sign-off of that instructor left. It is verified at the end.
"""

from __future__ import annotations

import datetime as dt
import io
import pathlib
import re
import secrets
import statistics
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.db import connection, transaction

from tests.support import factories, lessons
from training import models
from training.ledger import models as ledger
from training.ledger.core import proofs, sealed
from training.services.lessons import lesson_records, sign_offs
from training.services.signing import seals

SIZES = (1_000, 10_000, 100_000)
ROUNDS, AT_ONCE = 7, 30
#: So many instructors teach one student each, from lesson to lesson, and then the next.
INSTRUCTORS, LESSONS_EACH = 40, 25
FIRST_DAY = dt.date(2018, 1, 1)  # each instructor flies once a day
BATCH = 10_000
_INSERTED = re.compile(r'INSERT INTO "(\w+)"')


@dataclass(frozen=True)
class Teaching:
    """An instructor with an airplane of their own, and the students so far."""

    instructor: models.User
    registration: str
    students: list[models.Student]


class School:
    """A school whose lessons follow one another: each instructor's from day to day.

    A student comes in the middle of a block of lessons, so that at every size that is measured the students
    have records of the same length: what grows is the school's ledger.
    """

    def __init__(self, instructors: int) -> None:
        self.school = factories.school()
        self.tree = seals.tree_of(self.school)
        self.lessons = 0
        self.teaching = []
        for number in range(instructors):
            who = factories.instructor(self.school, certificate=f"{number:07}CFI")
            self.teaching.append(Teaching(who, f"N{number:02}XY", []))

    def next(self) -> tuple[Teaching, models.Student, dt.date]:
        """Who, whom and when of the lesson after the last one."""
        turn, number = divmod(self.lessons, len(self.teaching))
        self.lessons += 1
        teaching = self.teaching[number]
        if len(teaching.students) <= (turn + LESSONS_EACH // 2) // LESSONS_EACH:
            teaching.students.append(factories.student(self.school, taught_by=teaching.instructor))
        return teaching, teaching.students[-1], FIRST_DAY + dt.timedelta(days=turn)

    def draft(self) -> models.LessonRecord:
        teaching, student, day = self.next()
        flight = {
            **lessons.CONTENT["flight"],
            "date": f"{day}",
            "off": f"{day}T13:00:00-06:00",
            "on": f"{day}T14:24:00-06:00",
            "aircraft": {**lessons.CONTENT["flight"]["aircraft"], "registration": teaching.registration},
        }
        return lesson_records.create(
            student,
            id=uuid.uuid4(),
            lesson="S1-L3",
            content=lessons.content(flight=flight, ground={**lessons.CONTENT["ground"], "date": f"{day}"}),
            by=teaching.instructor,
            at=lessons.AT,
            via="api",
        )


def sign(lesson: models.LessonRecord) -> models.SignOff:
    return sign_offs.sign_off(
        lesson.pk, by=lesson.instructor, content_hash=lesson.content_hash, at=lessons.AT, via="api"
    )


# The bare transaction


def inserted(drafts: list[models.LessonRecord]) -> list[list[tuple[str, list[Any]]]]:
    """The INSERTs of the sign-offs of these, which are then rolled back: each statement with its parameters.

    Keys that the database gave are written out, since other rows name them.
    """
    tables: list[str] = []

    def note(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        tables.extend(name for name in _INSERTED.findall(sql) if name not in tables)
        return execute(sql, params, many, context)

    keys = {model._meta.db_table: model._meta.pk.column for model in apps.get_models()}
    found = []
    with transaction.atomic(), connection.cursor() as cursor:
        with transaction.atomic(), connection.execute_wrapper(note):
            sign(drafts[0])
            transaction.set_rollback(True)
        # A flight is sealed once its landings stand: so it goes last. Its key is looked for at the commit.
        tables.sort(key=lambda name: name == models.Flight._meta.db_table)
        for draft in drafts:
            before = {}
            for table in tables:
                cursor.execute(f'SELECT max("{keys[table]}") FROM "{table}"')
                before[table] = cursor.fetchone()[0] or 0
            sign(draft)
            found.append([_rows(cursor, table, keys[table], before[table]) for table in tables])
        transaction.set_rollback(True)
    return [[each for each in one if each[1]] for one in found]


def _rows(cursor: Any, table: str, key: str, before: int) -> tuple[str, list[Any]]:
    """One INSERT of the rows of a table that came after a key."""
    cursor.execute(f'SELECT * FROM "{table}" WHERE "{key}" > %s', [before])
    names = [f'"{column.name}"' for column in cursor.description]
    rows = cursor.fetchall()
    values = ", ".join([f"({', '.join(['%s'] * len(names))})"] * len(rows))
    return f'INSERT INTO "{table}" ({", ".join(names)}) VALUES {values}', [
        each for row in rows for each in row
    ]


def bare(statements: list[tuple[str, list[Any]]]) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        for sql, parameters in statements:
            cursor.execute(sql, parameters)


# Growing the ledger


def grow(
    school: School,
    templates: dict[int, models.SignOff],
    rows: dict[Any, list[tuple[uuid.UUID, Any]]],
    upto: int,
) -> None:
    """Bring a school's ledger to a size, with copies of the rows of each instructor's first sign-off."""
    while (count := min(upto - ledger.Head.objects.get(tree=school.tree).size, BATCH)) > 0:
        with transaction.atomic(), connection.cursor() as cursor:
            _entries(cursor, school, templates, count)
            _copies(cursor, rows)
    connection.close()  # VACUUM runs outside any transaction
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def _entries(cursor: Any, school: School, templates: dict[int, models.SignOff], count: int) -> None:
    """The entries, bodies, nodes and the head; and in ``grown`` what each is a copy of."""
    cursor.execute(
        "CREATE TEMPORARY TABLE grown (id uuid, template uuid, student_id bigint, index bigint, days int,"
        " old_day text, new_day text) ON COMMIT DROP"
    )
    head = ledger.Head.objects.select_for_update().get(tree=school.tree)
    peaks = [bytes.fromhex(peak) for peak in head.peaks.split()]
    instant = sealed.instant_text(lessons.AT)
    grown, entries, nodes, bodies = [], [], [], []
    bodies_of = {
        key: (ledger.Entry.objects.get(tree=school.tree, index=each.ledger_index).kept.body, each)
        for key, each in templates.items()
    }
    for index in range(head.size, head.size + count):
        teaching, student, day = school.next()
        body, template = bodies_of[teaching.instructor.pk]
        mine, before = uuid.uuid4(), template.lesson.content["flight"]["date"]
        text = body.replace(str(template.lesson_id), str(mine)).replace(before, f"{day}")
        salt = secrets.token_hex(sealed.SALT_BYTES)
        said = {"kind": "lesson.signed", "subject": str(student.ref), "at": instant}
        commitment = sealed.commitment(salt, text)
        leaf = proofs.leaf_hash(
            sealed.leaf_data(tree=school.tree, index=index, commitment=commitment, **said)
        )
        for (level, position), one in proofs.grow(peaks, index, leaf):
            nodes.append(ledger.Node(tree=school.tree, level=level, index=position, hash=one.hex()))
        entries.append(
            ledger.Entry(tree=school.tree, index=index, commitment=commitment, leaf=leaf.hex(), **said)
        )
        bodies.append((text, salt))
        days = (day - dt.date.fromisoformat(before)).days
        grown.append((mine, template.lesson_id, student.pk, index, days, before, f"{day}"))
    ledger.Entry.objects.bulk_create(entries, batch_size=2_000)
    ledger.EntryBody.objects.bulk_create(
        (
            ledger.EntryBody(entry=entry, body=text, salt=salt)
            for entry, (text, salt) in zip(entries, bodies, strict=True)
        ),
        batch_size=2_000,
    )
    ledger.Node.objects.bulk_create(nodes, batch_size=2_000)
    ledger.Head.objects.filter(tree=school.tree).update(
        size=head.size + count,
        root=proofs.fold(peaks).hex(),
        peaks=" ".join(peak.hex() for peak in peaks),
    )
    cursor.executemany("INSERT INTO grown VALUES (%s, %s, %s, %s, %s, %s, %s)", grown)


#: The rows of a sign-off, by what they say of its lesson: a condition on ``t``, the lesson being ``l``.
_OF_LESSON = {
    models.LessonRecord: "t.id = l.id",
    models.SignOff: "t.lesson_id = l.id",
    models.Flight: "t.entry_id LIKE l.id || '/%%'",
    models.GroundLesson: "t.entry_id LIKE l.id || '/%%'",
    models.ItemGrade: "t.entry_id LIKE l.id || '/%%'",
    models.Notice: "t.about = l.id::text",
    models.AccessLog: "t.what LIKE '%%' || l.id || '%%'",
    models.Landing: "t.flight_id = (SELECT id FROM training_flight f WHERE f.entry_id = l.id || '/flight')",
}


def rows_of(templates: dict[int, models.SignOff]) -> dict[Any, list[tuple[uuid.UUID, Any]]]:
    """The keys of the rows that these sign-offs left, with their lesson's; they are many times copied."""
    lessons_signed = [each.lesson_id for each in templates.values()]
    found = {}
    with connection.cursor() as cursor:
        for model, condition in _OF_LESSON.items():
            cursor.execute(
                f"SELECT l.id, t.id FROM {model._meta.db_table} t JOIN training_lessonrecord l ON {condition}"
                " WHERE l.id = ANY(%s)",
                [lessons_signed],
            )
            found[model] = cursor.fetchall()
            assert len(found[model]) >= len(templates), f"no {model.__name__} of a sign-off"
    return found


def _copies(cursor: Any, rows: dict[Any, list[tuple[uuid.UUID, Any]]]) -> None:
    """The rows of each sign-off in ``grown``, copied from its template's with other keys and days."""
    cursor.execute("CREATE INDEX ON grown (template)")
    cursor.execute("ANALYZE grown")
    days = "make_interval(days => g.days)"
    named = "replace({0}, g.template::text, g.id::text)"
    dated = {"off_at": f"t.off_at + {days}", "on_at": f"t.on_at + {days}", "date": "t.date + g.days"}
    entry = {"entry_id": named.format("t.entry_id"), **dated}
    content = "replace(t.content::text, g.old_day, g.new_day)::jsonb"
    changes: dict[Any, dict[str, str]] = {
        models.LessonRecord: {**dated, "id": "g.id", "content": content},
        models.SignOff: {"lesson_id": "g.id", "ledger_index": "g.index"},
        models.Flight: {**entry, "sealed": "false"},
        models.GroundLesson: entry,
        models.ItemGrade: {**entry, "flight": named.format("t.flight")},
        models.Notice: {"about": "g.id::text"},
        models.AccessLog: {"what": named.format("t.what")},
        models.Landing: {"flight_id": "n.id"},
    }
    for model, changed in changes.items():
        _copied(cursor, model, rows[model], {"student_id": "g.student_id", **changed})
    cursor.execute(
        "UPDATE training_flight f SET sealed = true FROM grown g"
        " WHERE f.student_id = g.student_id AND f.entry_id = g.id || '/flight'"
    )


def _copied(cursor: Any, model: Any, rows: list[tuple[uuid.UUID, Any]], changed: dict[str, str]) -> None:
    columns = [field.column for field in model._meta.concrete_fields if field.column in changed]
    kept = [
        field.column
        for field in model._meta.concrete_fields
        if field.column not in changed and not field.primary_key
    ]
    names = ", ".join(f'"{column}"' for column in (*columns, *kept))
    values = ", ".join([*(changed[column] for column in columns), *(f't."{column}"' for column in kept)])
    source = f"FROM grown g JOIN (VALUES {', '.join(['(%s, %s)'] * len(rows))}) k (lesson, pk) ON k.lesson"
    source += f" = g.template JOIN {model._meta.db_table} t ON t.id = k.pk"
    if model is models.Landing:
        source += " JOIN training_flight n ON n.student_id = g.student_id AND n.entry_id = g.id || '/flight'"
    cursor.execute(
        f"INSERT INTO {model._meta.db_table} ({names}) SELECT {values} {source}",
        [each for row in rows for each in row],
    )


# The figures


@dataclass(frozen=True)
class Round:
    """Milliseconds of one transaction of a round: on the clock, and of CPU, here and in the server."""

    took: float
    spent: float


def timed(work: Callable[[], None]) -> Round:
    """How long each of ``AT_ONCE`` transactions takes, done one after the other."""
    began, spent = time.perf_counter(), _spent()
    work()
    return Round((time.perf_counter() - began) / AT_ONCE * 1e3, (_spent() - spent) / AT_ONCE * 1e3)


def _spent() -> float:
    """Seconds of CPU so far, in this process and in the server's process that works for it (on Linux)."""
    server = connection.connection.info.backend_pid
    nanoseconds = int(pathlib.Path(f"/proc/{server}/schedstat").read_text().split()[0])
    return time.process_time() + nanoseconds / 1e9


def measured(school: School) -> tuple[list[Round], list[Round]]:
    """The rounds of sign-offs and of the bare transaction, in turns."""
    mine, plain = [], []
    for _ in range(ROUNDS):
        drafts = [school.draft() for _ in range(AT_ONCE)]
        mine.append(timed(lambda drafts=drafts: [sign(draft) for draft in drafts]))
        beside = School(instructors=2)  # its ledger is left in pieces
        sign(beside.draft())
        rows = inserted([beside.draft() for _ in range(AT_ONCE)])
        plain.append(timed(lambda rows=rows: [bare(each) for each in rows]))
    return mine, plain


def run() -> None:
    school = School(INSTRUCTORS)
    templates = {}
    for _ in range(INSTRUCTORS):
        signed = sign(school.draft())
        templates[signed.by_id] = signed
    rows = rows_of(templates)
    print(f"a sign-off on {connection.vendor}, one after the other; bare: INSERT of the same rows (medians)")
    print("                   on the clock                                  CPU, server's too")
    print(
        "  ledger entries   sign-off      bare   ratio   sign-offs/s     sign-off      bare   ratio   growth"
    )
    first = 0.0
    for size in SIZES:
        grow(school, templates, rows, size)
        mine, plain = measured(school)
        took = statistics.median(each.took for each in mine)
        spent = statistics.median(each.spent for each in mine)
        of_clock = statistics.median(b.took / a.took for a, b in zip(mine, plain, strict=True))
        of_cpu = statistics.median(b.spent / a.spent for a, b in zip(mine, plain, strict=True))
        less, least = (statistics.median(getattr(each, of) for each in plain) for of in ("took", "spent"))
        first = first or spent
        print(
            f"  {size:14,}   {took:5.2f} ms  {less:5.2f} ms   {of_clock:5.2f}   {1e3 / took:11.0f}"
            f"     {spent:5.2f} ms  {least:5.2f} ms   {of_cpu:5.2f}   {spent / first:6.2f}",
            flush=True,
        )
    out = io.StringIO()
    call_command("verify_ledger", tree=school.tree, stdout=out)
    print("  " + out.getvalue().strip().replace("\n", "\n  "))
