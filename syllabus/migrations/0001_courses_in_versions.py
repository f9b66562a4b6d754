"""Courses in versions; each table is made whole, since SQLite copies a table for each constraint that is added later."""

import datetime
import django.db.models.deletion
import uuid
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='Course',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('ref', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('school_ref', models.SlugField(blank=True, max_length=60, null=True)),
                ('code', models.CharField(max_length=80)),
            ],
            options={
                'ordering': ['code', 'school_ref'],
                'constraints': [models.UniqueConstraint(fields=('school_ref', 'code'), name='course_once_in_a_school'), models.UniqueConstraint(condition=models.Q(('school_ref__isnull', True)), fields=('code',), name='course_once_in_the_product')],
            },
        ),
        migrations.CreateModel(
            name='CourseVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('state', models.CharField(choices=[('draft', 'draft'), ('published', 'published')], default='draft', max_length=10)),
                ('published_at', models.DateTimeField(blank=True, null=True)),
                ('content_hash', models.CharField(max_length=80)),
                ('title', models.CharField(max_length=200)),
                ('says', models.TextField()),
                ('course', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='versions', to='syllabus.course')),
            ],
            options={
                'ordering': ['course', 'number'],
                'constraints': [
                    models.UniqueConstraint(fields=('course', 'number'), name='courseversion_number_once'),
                    models.UniqueConstraint(condition=models.Q(('state', 'draft')), fields=('course',), name='courseversion_one_draft_at_a_time'),
                    models.CheckConstraint(condition=models.Q(('number__gte', 1)), name='courseversion_number_from_1'),
                    models.CheckConstraint(condition=models.Q(models.Q(('published_at__isnull', True), ('state', 'draft')), models.Q(('published_at__isnull', False), ('state', 'published')), _connector='OR'), name='courseversion_published_has_its_instant'),
                ],
            },
        ),
        migrations.CreateModel(
            name='CourseMinimum',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('code', models.CharField(max_length=80)),
                ('kind', models.CharField(max_length=60)),
                ('params', models.JSONField(default=dict)),
                ('says', models.TextField()),
                ('note', models.TextField(blank=True)),
                ('version', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='minimums', to='syllabus.courseversion')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
                'constraints': [
                    models.UniqueConstraint(fields=('version', 'code'), name='courseminimum_code_once'),
                ],
            },
        ),
        migrations.CreateModel(
            name='Item',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('code', models.CharField(max_length=80)),
                ('title', models.CharField(max_length=200)),
                ('objective', models.TextField()),
                ('kind', models.CharField(default='flight', max_length=20)),
                ('task_document', models.CharField(blank=True, max_length=40)),
                ('task_revision', models.CharField(blank=True, max_length=10)),
                ('task_code', models.CharField(blank=True, max_length=40)),
                ('version', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='items', to='syllabus.courseversion')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
                'constraints': [
                    models.UniqueConstraint(fields=('version', 'code'), name='item_code_once'),
                    models.UniqueConstraint(fields=('version', 'position'), name='item_position_once'),
                    models.CheckConstraint(condition=models.Q(('kind__in', ('flight', 'ground', 'stage check'))), name='item_kind_is_known'),
                    models.CheckConstraint(condition=models.Q(models.Q(('task_code', ''), ('task_document', ''), ('task_revision', '')), models.Q(models.Q(('task_document', ''), _negated=True), models.Q(('task_revision', ''), _negated=True), models.Q(('task_code', ''), _negated=True)), _connector='OR'), name='item_task_is_whole'),
                ],
            },
        ),
        migrations.CreateModel(
            name='Stage',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('code', models.CharField(max_length=80)),
                ('title', models.CharField(max_length=200)),
                ('objective', models.TextField()),
                ('completion', models.TextField(verbose_name='completion standard')),
                ('version', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='stages', to='syllabus.courseversion')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
                'constraints': [
                    models.UniqueConstraint(fields=('version', 'code'), name='stage_code_once'),
                    models.UniqueConstraint(fields=('version', 'position'), name='stage_position_once'),
                ],
            },
        ),
        migrations.CreateModel(
            name='Lesson',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('code', models.CharField(max_length=80)),
                ('title', models.CharField(max_length=200)),
                ('objective', models.TextField()),
                ('completion', models.TextField(verbose_name='completion standard')),
                ('dual', models.DurationField(blank=True, null=True)),
                ('solo', models.DurationField(blank=True, null=True)),
                ('cross_country', models.DurationField(blank=True, null=True)),
                ('night', models.DurationField(blank=True, null=True)),
                ('instrument', models.DurationField(blank=True, null=True)),
                ('preparation', models.DurationField(blank=True, null=True)),
                ('ground', models.DurationField(blank=True, null=True)),
                ('plans', models.JSONField(blank=True, default=list, help_text='ids of requirements that the lesson is laid out to meet')),
                ('stage', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lessons', to='syllabus.stage')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
                'constraints': [
                    models.UniqueConstraint(fields=('stage', 'code'), name='lesson_code_once'),
                    models.UniqueConstraint(fields=('stage', 'position'), name='lesson_position_once'),
                    models.CheckConstraint(condition=models.Q(models.Q(('dual__isnull', True), ('dual__gte', datetime.timedelta(0)), _connector='OR'), models.Q(('solo__isnull', True), ('solo__gte', datetime.timedelta(0)), _connector='OR'), models.Q(('cross_country__isnull', True), ('cross_country__gte', datetime.timedelta(0)), _connector='OR'), models.Q(('night__isnull', True), ('night__gte', datetime.timedelta(0)), _connector='OR'), models.Q(('instrument__isnull', True), ('instrument__gte', datetime.timedelta(0)), _connector='OR'), models.Q(('preparation__isnull', True), ('preparation__gte', datetime.timedelta(0)), _connector='OR'), models.Q(('ground__isnull', True), ('ground__gte', datetime.timedelta(0)), _connector='OR')), name='lesson_no_time_below_zero'),
                    models.CheckConstraint(condition=models.Q(('preparation__isnull', True), ('preparation__lte', models.F('dual')), _connector='OR'), name='lesson_prepares_in_dual_time'),
                ],
            },
        ),
        migrations.CreateModel(
            name='LessonItem',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('minimum_grade', models.CharField(max_length=20)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='planned_in', to='syllabus.item')),
                ('lesson', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='planned', to='syllabus.lesson')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
                'constraints': [
                    models.UniqueConstraint(fields=('lesson', 'item'), name='lessonitem_once'),
                    models.UniqueConstraint(fields=('lesson', 'position'), name='lessonitem_position_once'),
                    models.CheckConstraint(condition=models.Q(('minimum_grade__in', ('describe', 'explain', 'practice', 'perform'))), name='lessonitem_grade_is_known'),
                ],
            },
        ),
        migrations.CreateModel(
            name='Prerequisite',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='prerequisites', to='syllabus.item')),
                ('needs', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='leads_to', to='syllabus.item')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
                'constraints': [
                    models.UniqueConstraint(fields=('item', 'needs'), name='prerequisite_once'),
                    models.CheckConstraint(condition=models.Q(('item', models.F('needs')), _negated=True), name='prerequisite_is_another_item'),
                ],
            },
        ),
        migrations.CreateModel(
            name='Proof',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('proves', models.CharField(max_length=80)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='proofs', to='syllabus.item')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
                'constraints': [
                    models.UniqueConstraint(fields=('item', 'proves'), name='proof_once'),
                ],
            },
        ),
        migrations.CreateModel(
            name='SchoolMinimum',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('school_ref', models.SlugField(max_length=60)),
                ('milestone', models.CharField(max_length=80)),
                ('code', models.CharField(max_length=80)),
                ('kind', models.CharField(max_length=60)),
                ('params', models.JSONField(default=dict)),
                ('says', models.TextField()),
                ('note', models.TextField(blank=True)),
                ('starts', models.DateField(verbose_name='first day')),
                ('ends', models.DateField(blank=True, null=True, verbose_name='last day')),
            ],
            options={
                'ordering': ['school_ref', 'milestone', 'code', 'starts'],
                'constraints': [models.UniqueConstraint(fields=('school_ref', 'milestone', 'code', 'starts'), name='schoolminimum_once'), models.CheckConstraint(condition=models.Q(('ends__isnull', True), ('ends__gte', models.F('starts')), _connector='OR'), name='schoolminimum_does_not_end_before_it_starts')],
            },
        ),
        migrations.CreateModel(
            name='StandardTolerance',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('name', models.CharField(max_length=200)),
                ('quantity', models.CharField(max_length=20)),
                ('target', models.CharField(max_length=10)),
                ('target_value', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('target_name', models.CharField(blank=True, max_length=200)),
                ('low', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('high', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('low_inclusive', models.BooleanField(default=True)),
                ('high_inclusive', models.BooleanField(default=True)),
                ('basis', models.CharField(default='test standard', max_length=20)),
                ('source', models.TextField()),
                ('verified', models.CharField(max_length=20)),
                ('note', models.TextField(blank=True)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='standard', to='syllabus.item')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
                'constraints': [
                    models.UniqueConstraint(fields=('item', 'name'), name='tolerance_name_once'),
                    models.CheckConstraint(condition=models.Q(('quantity__in', ['altitude', 'height', 'airspeed', 'heading', 'bank', 'touchdown', 'distance off', 'time', 'power', 'engine speed', 'turn rate'])), name='tolerance_quantity_is_known'),
                    models.CheckConstraint(condition=models.Q(('target__in', ('assigned', 'value', 'named', 'range'))), name='tolerance_target_is_known'),
                    models.CheckConstraint(condition=models.Q(('basis__in', ('test standard', 'handbook', 'common practice', 'school'))), name='tolerance_basis_is_known'),
                    models.CheckConstraint(condition=models.Q(('verified__in', ('read', 'second-hand', 'memory'))), name='tolerance_verified_is_known'),
                    models.CheckConstraint(condition=models.Q(models.Q(('target', 'value'), ('target_value__isnull', False)), models.Q(models.Q(('target', 'value'), _negated=True), ('target_value__isnull', True)), _connector='OR'), name='tolerance_value_where_it_has_one'),
                    models.CheckConstraint(condition=models.Q(models.Q(('target', 'named'), ('target_name', ''), _negated=True), models.Q(('high', None), ('low', None), ('target', 'range'), _negated=True)), name='tolerance_target_is_whole'),
                    models.CheckConstraint(condition=models.Q(('low__isnull', True), ('high__isnull', True), ('low__lte', models.F('high')), _connector='OR'), name='tolerance_low_not_above_high'),
                ],
            },
        ),
    ]
