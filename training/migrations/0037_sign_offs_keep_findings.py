"""A sign-off has what the audit found of the lesson, and the reason for signing it all the same."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('training', '0036_groundings_of_aircraft'),
    ]

    operations = [
        migrations.AddField(
            model_name='signoff',
            name='findings',
            field=models.JSONField(blank=True, db_default=models.Value([], models.JSONField()), default=list),
        ),
        migrations.AddField(
            model_name='signoff',
            name='findings_reason',
            field=models.TextField(blank=True, db_default='', default=''),
        ),
    ]
