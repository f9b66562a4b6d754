"""What happens to an account's sign-in is kept for a time."""

from django.conf import settings
from django.db import migrations, models
from django.db.models.deletion import CASCADE, SET_NULL

WHATS = [
    ("signed-in", "Signed In"),
    ("sign-in-failed", "Failed"),
    ("locked", "Locked"),
    ("signed-out", "Signed Out"),
    ("password-set", "Password"),
    ("factor-added", "Factor Added"),
    ("factor-removed", "Factor Removed"),
    ("factor-used", "Factor Used"),
    ("factor-failed", "Factor Failed"),
    ("token-made", "Token Made"),
    ("token-ended", "Token Ended"),
    ("role", "Role"),
]


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0034_who_must_have_a_second_factor"),
    ]

    operations = [
        migrations.CreateModel(
            "SignInEvent",
            [
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("what", models.CharField(choices=WHATS, max_length=20)),
                (
                    "about",
                    models.CharField(
                        blank=True, help_text="such as totp, or instructor invited", max_length=60
                    ),
                ),
                ("at", models.DateTimeField()),
                ("via", models.CharField(help_text="web, api or command", max_length=10)),
                ("ip", models.GenericIPAddressField(null=True)),
                (
                    "program",
                    models.CharField(blank=True, help_text="as the browser names itself", max_length=120),
                ),
                ("by", models.ForeignKey(settings.AUTH_USER_MODEL, SET_NULL, null=True, related_name="+")),
                ("school", models.ForeignKey("training.School", CASCADE, null=True, related_name="+")),
                ("user", models.ForeignKey(settings.AUTH_USER_MODEL, CASCADE, null=True, related_name="+")),
            ],
            options={
                "ordering": ["-at", "-pk"],
                "indexes": [
                    models.Index(fields=["user", "-at"], name="signinevent_by_user"),
                    models.Index(fields=["at"], name="signinevent_by_time"),
                ],
            },
        ),
    ]
