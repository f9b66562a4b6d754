"""E-mail about accounts goes through the outbox: to an address, with or without a school."""

from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0029_heartbeats_and_rendered_pages"),
    ]

    operations = [
        migrations.AddField(
            "Delivery",
            "to",
            models.EmailField(
                blank=True, default="", db_default="", max_length=320, help_text="the address, of e-mail about an account"
            ),
        ),
        migrations.AddField(
            "Delivery",
            "subject",
            models.CharField(
                blank=True, default="", db_default="", max_length=200, help_text="of e-mail about an account"
            ),
        ),
        migrations.AlterField(
            "Delivery",
            "school",
            models.ForeignKey(
                "training.School", models.CASCADE, null=True, blank=True, related_name="+"
            ),
        ),
        migrations.AlterField(
            "Delivery",
            "kind",
            models.CharField(
                max_length=12,
                choices=[
                    ("reminder", "Reminder"),
                    ("digest", "Digest"),
                    ("checkpoint", "Checkpoint"),
                    ("notice", "Notice"),
                    ("link", "Link"),
                    ("account", "Account"),
                ],
            ),
        ),
        migrations.RemoveConstraint("Delivery", "delivery_is_to_one_person"),
        migrations.AddConstraint(
            "Delivery",
            models.CheckConstraint(
                condition=Q(to="", school__isnull=False)
                & (
                    Q(user__isnull=False, guardian__isnull=True)
                    | Q(user__isnull=True, guardian__isnull=False)
                )
                | ~Q(to="") & Q(kind__in=["link", "account"], guardian__isnull=True),
                name="delivery_is_to_one_person",
            ),
        ),
    ]
