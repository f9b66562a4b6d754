from django.db import migrations, models

import training.models.school.people


class Migration(migrations.Migration):
    dependencies = [
        ("syllabus", "0001_courses_in_versions"),
        ("training", "0009_reminders"),
    ]

    operations = [
        migrations.AddField(
            model_name="role",
            name="ratings",
            field=models.JSONField(
                blank=True,
                help_text='in which aircraft an instructor may give flight training, as instructor and pilot certificate allow together: [{"category": "airplane", "class": "single-engine land", "instrument": true}]; empty: not recorded here; []: in none',
                null=True,
                validators=[training.models.school.people.check_ratings],
            ),
        ),
        migrations.AddField(
            model_name="school",
            name="late_after_days",
            field=models.PositiveSmallIntegerField(
                blank=True,
                help_text="days between a lesson and its sign-off, past which it is signed with a warning; empty: none. No regulation has such a number",
                null=True,
                verbose_name="a sign-off is late after",
            ),
        ),
        migrations.AddField(
            model_name="school",
            name="rules_version",
            field=models.UUIDField(
                editable=False, null=True, verbose_name="state of the school's own minimums"
            ),
        ),
    ]
