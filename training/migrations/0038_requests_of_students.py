"""A student asks the instructors for a lesson, a correction or a release."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0037_sign_offs_keep_findings"),
    ]

    operations = [
        migrations.CreateModel(
            name="StudentRequest",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[("lesson", "Lesson"), ("correction", "Correction"), ("release", "Release")],
                        max_length=12,
                    ),
                ),
                ("on", models.DateField(blank=True, null=True, verbose_name="day of the flight")),
                ("text", models.TextField(blank=True)),
                ("at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("open", "Open"),
                            ("accepted", "Accepted"),
                            ("declined", "Declined"),
                            ("withdrawn", "Withdrawn"),
                        ],
                        default="open",
                        max_length=10,
                    ),
                ),
                ("answered_at", models.DateTimeField(blank=True, null=True)),
                ("answer", models.TextField(blank=True)),
                (
                    "by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "lesson",
                    models.ForeignKey(
                        blank=True,
                        help_text="to be corrected",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="training.lessonrecord",
                    ),
                ),
                (
                    "school",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="training.school"
                    ),
                ),
                (
                    "student",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="requests",
                        to="training.student",
                    ),
                ),
            ],
            options={
                "ordering": ["-at", "pk"],
                "indexes": [
                    models.Index(
                        condition=models.Q(("state", "open")),
                        fields=["student"],
                        name="request_open_by_student",
                    ),
                    models.Index(fields=["student", "on"], name="request_by_student_and_day"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "correction"), ("lesson__isnull", False)),
                            models.Q(("lesson__isnull", True), ("on__isnull", False)),
                            _connector="OR",
                        ),
                        name="request_names_its_day_or_lesson",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("answered_at__isnull", True), ("by__isnull", True), ("state", "open")),
                            models.Q(("answered_at__isnull", False), ("by__isnull", False)),
                            _connector="OR",
                        ),
                        name="request_is_open_or_answered",
                    ),
                ],
            },
        ),
    ]
