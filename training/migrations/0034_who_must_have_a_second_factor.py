"""A school says which roles need a second factor: its administrators, unless it chooses."""

from django.db import migrations, models
from django.db.models import Value

from training.models.school import schools


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0033_limits_are_shared"),
    ]

    operations = [
        migrations.AddField(
            "School",
            "second_factor_for",
            models.JSONField(
                "second factor required for",
                blank=True,
                default=schools.second_factor_for,
                db_default=Value(["administrator"], models.JSONField()),
                validators=[schools.check_second_factor_for],
                help_text="roles whose holders must have a passkey or an authenticator app",
            ),
        ),
        migrations.RunSQL(
            "UPDATE training_school SET second_factor_for = '[]' WHERE is_demo", migrations.RunSQL.noop
        ),
    ]
