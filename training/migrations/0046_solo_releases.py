"""Solo releases: requests, decisions and ends; the hours that a release lasts at a school."""

import django.core.validators
import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('training', '0038_requests_of_students'),
    ]

    operations = [
        migrations.AddField(
            model_name='school',
            name='release_hours',
            field=models.PositiveSmallIntegerField(db_default=2, default=2, help_text="the most; it ends earlier with an endorsement, the daylight or the weather it was checked with. The school's own limit, no regulation's", validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(12)], verbose_name='hours that a solo release lasts'),
        ),
        migrations.CreateModel(
            name='SoloRelease',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('at', models.DateTimeField(verbose_name='requested at')),
                ('flight', models.JSONField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('replaces', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='replacement', to='training.solorelease')),
                ('school', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='training.school')),
                ('student', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='solo_releases', to='training.student')),
            ],
            options={
                'ordering': ['-at', '-pk'],
            },
        ),
        migrations.CreateModel(
            name='ReleaseEnd',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('reason', models.TextField()),
                ('confirmed', models.JSONField(blank=True, default=dict, help_text='as the ledger has it')),
                ('ledger_index', models.BigIntegerField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('school', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='training.school')),
                ('student', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='training.student')),
                ('release', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='end', to='training.solorelease')),
            ],
            options={
                'ordering': ['at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='ReleaseDecision',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('decision', models.CharField(choices=[('released', 'released'), ('declined', 'declined')], max_length=10)),
                ('reason', models.TextField(blank=True)),
                ('checked', models.CharField(max_length=80)),
                ('answer', models.JSONField(help_text='every line with its answer, the confirmed lines met')),
                ('lines_confirmed', models.JSONField(blank=True, default=list)),
                ('against', models.BooleanField(default=False, verbose_name='a line is not met or unknown')),
                ('ends_at', models.DateTimeField(blank=True, null=True)),
                ('confirmed', models.JSONField(blank=True, default=dict, help_text='as the ledger has it')),
                ('ledger_index', models.BigIntegerField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('school', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='training.school')),
                ('student', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='training.student')),
                ('release', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='decision', to='training.solorelease')),
            ],
            options={
                'ordering': ['at', 'pk'],
            },
        ),
        migrations.AddIndex(
            model_name='solorelease',
            index=models.Index(fields=['student', '-at'], name='solorelease_by_student'),
        ),
        migrations.AddConstraint(
            model_name='releaseend',
            constraint=models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='releaseend_has_a_reason'),
        ),
        migrations.AddConstraint(
            model_name='releasedecision',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('decision', 'released'), ('ends_at__isnull', False), models.Q(('against', False), models.Q(('reason', ''), _negated=True), _connector='OR')), models.Q(('decision', 'declined'), ('ends_at__isnull', True), models.Q(('reason', ''), _negated=True)), _connector='OR'), name='releasedecision_has_its_reason'),
        ),
    ]
