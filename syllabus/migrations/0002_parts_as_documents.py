"""Each version's parts become one document; the eight tables they were in go.

A version keeps its row and its hash. Where the hash did not fit the parts, it does not fit the document: what was
changed behind the triggers stays visible. There is no way back: restore a backup made before.
"""

import datetime as dt
from collections import defaultdict
from fractions import Fraction

import django.db.models.deletion
from django.db import migrations, models

import syllabus.models.courses
from syllabus.courses import files
from syllabus.engine.course.course import PLANNED, Item, Lesson, Outline, Stage, Task
from syllabus.engine.course.standards import Target, Tolerance
from syllabus.engine.rules.minimums import Minimum

MICROSECOND = dt.timedelta(microseconds=1)
TABLES = (
    "stage",
    "courseminimum",
    "item",
    "standardtolerance",
    "prerequisite",
    "proof",
    "lesson",
    "lessonitem",
)


def documents(apps, schema_editor):
    old = {name: apps.get_model("syllabus", name) for name in TABLES}
    versions = apps.get_model("syllabus", "CourseVersion").objects.select_related("course").order_by("pk")
    kept = apps.get_model("syllabus", "CourseParts").objects
    for version in versions.iterator():
        kept.create(version=version, document=files.parts(outline(old, version)))


def outline(old, version):
    def grouped(name, by, **of_version):
        found = defaultdict(list)
        for row in old[name].objects.filter(**of_version).order_by("position"):
            found[getattr(row, by)].append(row)
        return found

    items = list(old["item"].objects.filter(version=version).order_by("position"))
    codes = {row.pk: row.code for row in items}
    of_item = {"item__version": version}
    standard = grouped("standardtolerance", "item_id", **of_item)
    needs = grouped("prerequisite", "item_id", **of_item)
    proofs = grouped("proof", "item_id", **of_item)
    lessons = grouped("lesson", "stage_id", stage__version=version)
    planned = grouped("lessonitem", "lesson_id", lesson__stage__version=version)
    return Outline(
        code=version.course.code,
        title=version.title,
        says=version.says,
        stages=tuple(
            Stage(
                row.code,
                row.title,
                row.objective,
                row.completion,
                tuple(lesson(each, planned[each.pk], codes) for each in lessons[row.pk]),
            )
            for row in old["stage"].objects.filter(version=version).order_by("position")
        ),
        items=tuple(
            Item(
                code=row.code,
                title=row.title,
                objective=row.objective,
                kind=row.kind,
                standard=tuple(map(tolerance, standard[row.pk])),
                task=Task(row.task_document, row.task_revision, row.task_code) if row.task_code else None,
                prerequisites=tuple(codes[each.needs_id] for each in needs[row.pk]),
                proves=tuple(each.proves for each in proofs[row.pk]),
            )
            for row in items
        ),
        minimums=tuple(
            Minimum(row.code, row.kind, row.params, row.says, row.note)
            for row in old["courseminimum"].objects.filter(version=version).order_by("position")
        ),
    )


def lesson(row, planned, codes):
    times = {kind: getattr(row, kind) for kind in PLANNED}
    return Lesson(
        code=row.code,
        title=row.title,
        objective=row.objective,
        completion=row.completion,
        times={kind: time // MICROSECOND for kind, time in times.items() if time is not None},
        items={codes[each.item_id]: each.minimum_grade for each in planned},
        plans=tuple(row.plans),
    )


def tolerance(row):
    def exact(number):
        return None if number is None else Fraction(number)

    return Tolerance(
        name=row.name,
        quantity=row.quantity,
        target=Target(row.target, exact(row.target_value), row.target_name),
        low=exact(row.low),
        high=exact(row.high),
        low_inclusive=row.low_inclusive,
        high_inclusive=row.high_inclusive,
        basis=row.basis,
        source=row.source,
        verified=row.verified,
        note=row.note,
    )


def no_functions(apps, schema_editor):
    """A table takes its triggers with it, and leaves their functions behind."""
    if schema_editor.connection.vendor == "postgresql":
        for name in TABLES:
            schema_editor.execute(f"DROP FUNCTION IF EXISTS syllabus_{name}_stays()")


class Migration(migrations.Migration):
    dependencies = [("syllabus", "0001_courses_in_versions")]

    operations = [
        migrations.CreateModel(
            name="CourseParts",
            fields=[
                (
                    "version",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="parts",
                        serialize=False,
                        to="syllabus.courseversion",
                    ),
                ),
                ("document", syllabus.models.courses.OrderedJSONField()),
            ],
            options={"abstract": False},
        ),
        migrations.RunPython(documents),
        migrations.DeleteModel("LessonItem"),
        migrations.DeleteModel("Lesson"),
        migrations.DeleteModel("Stage"),
        migrations.DeleteModel("Prerequisite"),
        migrations.DeleteModel("Proof"),
        migrations.DeleteModel("StandardTolerance"),
        migrations.DeleteModel("Item"),
        migrations.DeleteModel("CourseMinimum"),
        migrations.RunPython(no_functions),
    ]
