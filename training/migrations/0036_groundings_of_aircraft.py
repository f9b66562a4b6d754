"""What grounds an aircraft, and its open defects, are on record."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('training', '0035_events_of_sign_ins'),
    ]

    operations = [
        migrations.CreateModel(
            name='Grounding',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('grounded', 'Grounded'), ('defect', 'Defect')], max_length=10)),
                ('reason', models.TextField()),
                ('at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('ended_reason', models.TextField(blank=True)),
                ('aircraft', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='groundings', to='training.aircraft')),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('ended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('school', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='training.school')),
            ],
            options={
                'ordering': ['-at', '-pk'],
                'indexes': [models.Index(condition=models.Q(('ended_at__isnull', True)), fields=['aircraft'], name='grounding_open')],
                'constraints': [models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='grounding_has_a_reason'), models.CheckConstraint(condition=models.Q(models.Q(('ended_at__isnull', True), ('ended_by__isnull', True), ('ended_reason', '')), models.Q(('ended_at__gte', models.F('at')), ('ended_by__isnull', False), models.Q(('ended_reason', ''), _negated=True)), _connector='OR'), name='grounding_ends_later_with_a_reason')],
            },
        ),
    ]
