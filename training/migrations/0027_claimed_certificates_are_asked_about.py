from django.db import migrations, models

import training.models.school.schools

BEFORE = ["endorsements", "tests", "documents"]
AFTER = [*BEFORE, "certificates"]


def ask(apps, schema_editor):
    """A school that never chose asks about claimed certificates too; one that chose keeps its choice."""
    apps.get_model("training", "School").objects.filter(claims_asked=BEFORE).update(claims_asked=AFTER)


class Migration(migrations.Migration):

    dependencies = [
        ('training', '0026_why_a_schools_settings_changed'),
    ]

    operations = [
        migrations.AlterField(
            model_name='school',
            name='claims_asked',
            field=models.JSONField(blank=True, db_default=models.Value(['endorsements', 'tests', 'documents', 'certificates'], models.JSONField()), default=training.models.school.schools.claims_asked, help_text='lists of a record whose entries raise a question while nobody vouches for them', validators=[training.models.school.schools.check_claims_asked], verbose_name='claimed entries are asked about'),
        ),
        migrations.RunPython(ask, migrations.RunPython.noop),
    ]
