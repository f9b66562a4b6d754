"""Whoever is added to a school by an address that is not known there is invited, and has to accept."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0030_mail_about_accounts_waits_too"),
    ]

    operations = [
        migrations.CreateModel(
            name="Invitation",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("email", models.EmailField(max_length=254)),
                ("name", models.CharField(max_length=200)),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("instructor", "Instructor"),
                            ("administrator", "Administrator"),
                            ("student", "Student"),
                            ("guardian", "guardian"),
                        ],
                        max_length=20,
                    ),
                ),
                (
                    "held",
                    models.JSONField(
                        blank=True, default=dict, help_text="what an instructor's role will hold"
                    ),
                ),
                ("at", models.DateTimeField(verbose_name="sent at")),
                ("expires", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "guardian",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        to="training.guardian",
                    ),
                ),
                (
                    "school",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="invitations",
                        to="training.school",
                    ),
                ),
                (
                    "student",
                    models.ForeignKey(
                        blank=True,
                        help_text="whose record it opens, to a student or a guardian",
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="invitations",
                        to="training.student",
                    ),
                ),
            ],
            options={
                "ordering": ["-at", "-pk"],
                "indexes": [models.Index(fields=["email"], name="invitation_by_email")],
            },
        ),
    ]
