"""Each entry says who vouches for it; a change of a record says why, and has its place in the ledger.

What was sealed here is signed. What came with a hand-over is taken over where a sealed entry of the other school,
verified then, is of this very entry; everything else is a claim.
"""

import contextlib
import json
from collections import defaultdict

from django.db import migrations, models

ENTRIES = ("Certificate", "Document", "Endorsement", "Flight", "GroundLesson", "ItemGrade", "Test")
OF_A_LESSON = ("Flight", "GroundLesson", "ItemGrade")
ENDORSED = {"endorsement.given": "endorsement", "endorsement.revoked": "in_its_place"}


def fill(apps, schema_editor):
    names = {name: apps.get_model("training", name) for name in ENTRIES}
    # PostgreSQL's triggers refuse every change of a sealed row; on SQLite they are away while tables change.
    guarded = schema_editor.connection.vendor == "postgresql"
    for model in names.values():
        table = model._meta.db_table
        with lifted(schema_editor, table) if guarded else nothing():
            model.objects.filter(sealed=True).update(provenance="signed")
    proven = defaultdict(set)
    prefixes = defaultdict(set)
    known = apps.get_model("training", "ForeignEntry").objects.filter(verified=True, body__isnull=False)
    for student, kind, text in known.values_list("student_id", "kind", "body").iterator():
        body = json.loads(text)
        if kind == "lesson.signed":
            prefixes[student].add(str(body.get("lesson_record")))
        elif kind in ENDORSED:
            proven[student].add(str((body.get(ENDORSED[kind]) or {}).get("id")))
    for each in apps.get_model("training", "HandOver").objects.all():
        for name in (*OF_A_LESSON, "Endorsement"):
            came = names[name].objects.filter(student_id=each.student_id, recorded_at=each.at, sealed=False)
            keys = [
                pk
                for pk, entry in came.values_list("pk", "entry_id")
                if (
                    entry in proven[each.student_id]
                    if name == "Endorsement"
                    else "/proof/" not in entry and entry.partition("/")[0] in prefixes[each.student_id]
                )
            ]
            for at in range(0, len(keys), 500):
                names[name].objects.filter(pk__in=keys[at : at + 500]).update(provenance="taken-over")


@contextlib.contextmanager
def nothing():
    yield


@contextlib.contextmanager
def lifted(schema_editor, table):
    """A table whose trigger is out of the way, inside the migration's transaction."""
    there = "SELECT 1 FROM pg_trigger WHERE tgname = %s"
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(there, [f"{table}_stays"])
        found = cursor.fetchone() is not None
        if found:
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER {table}_stays")
        yield
        if found:
            cursor.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_stays")


class Migration(migrations.Migration):

    dependencies = [
        ('training', '0023_extended_shapes_and_school_settings'),
    ]

    operations = [
        migrations.AddField(
            model_name='certificate',
            name='provenance',
            field=models.CharField(choices=[('signed', 'signed'), ('taken-over', 'taken-over'), ('attested', 'attested'), ('claimed', 'claimed')], default='claimed', editable=False, max_length=10, verbose_name='who vouches for it'),
        ),
        migrations.AddField(
            model_name='document',
            name='provenance',
            field=models.CharField(choices=[('signed', 'signed'), ('taken-over', 'taken-over'), ('attested', 'attested'), ('claimed', 'claimed')], default='claimed', editable=False, max_length=10, verbose_name='who vouches for it'),
        ),
        migrations.AddField(
            model_name='endorsement',
            name='provenance',
            field=models.CharField(choices=[('signed', 'signed'), ('taken-over', 'taken-over'), ('attested', 'attested'), ('claimed', 'claimed')], default='claimed', editable=False, max_length=10, verbose_name='who vouches for it'),
        ),
        migrations.AddField(
            model_name='flight',
            name='provenance',
            field=models.CharField(choices=[('signed', 'signed'), ('taken-over', 'taken-over'), ('attested', 'attested'), ('claimed', 'claimed')], default='claimed', editable=False, max_length=10, verbose_name='who vouches for it'),
        ),
        migrations.AddField(
            model_name='groundlesson',
            name='provenance',
            field=models.CharField(choices=[('signed', 'signed'), ('taken-over', 'taken-over'), ('attested', 'attested'), ('claimed', 'claimed')], default='claimed', editable=False, max_length=10, verbose_name='who vouches for it'),
        ),
        migrations.AddField(
            model_name='itemgrade',
            name='provenance',
            field=models.CharField(choices=[('signed', 'signed'), ('taken-over', 'taken-over'), ('attested', 'attested'), ('claimed', 'claimed')], default='claimed', editable=False, max_length=10, verbose_name='who vouches for it'),
        ),
        migrations.AddField(
            model_name='recordchange',
            name='confirmed',
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddField(
            model_name='recordchange',
            name='ledger_index',
            field=models.BigIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='recordchange',
            name='reason',
            field=models.TextField(blank=True),
        ),
        migrations.AddField(
            model_name='student',
            name='recorded_at',
            field=models.DateTimeField(blank=True, editable=False, null=True, verbose_name='put on record here at'),
        ),
        migrations.AddField(
            model_name='test',
            name='provenance',
            field=models.CharField(choices=[('signed', 'signed'), ('taken-over', 'taken-over'), ('attested', 'attested'), ('claimed', 'claimed')], default='claimed', editable=False, max_length=10, verbose_name='who vouches for it'),
        ),
        migrations.AlterField(
            model_name='delivery',
            name='kind',
            field=models.CharField(choices=[('reminder', 'Reminder'), ('digest', 'Digest'), ('checkpoint', 'Checkpoint'), ('notice', 'Notice')], max_length=12),
        ),
        migrations.AlterField(
            model_name='notice',
            name='about',
            field=models.CharField(help_text='the id of the lesson record or of the change, or of the reminder with its reader', max_length=100),
        ),
        migrations.AlterField(
            model_name='notice',
            name='kind',
            field=models.CharField(choices=[('lesson-signed', 'Signed'), ('lesson-corrected', 'Corrected'), ('record-changed', 'Record Changed'), ('name-or-birth-date-changed', 'Person Changed'), ('reminder', 'Reminder')], max_length=30),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name='certificate',
            constraint=models.CheckConstraint(condition=models.Q(('provenance__in', ('signed', 'taken-over', 'attested', 'claimed'))), name='certificate_provenance_is_known'),
        ),
        migrations.AddConstraint(
            model_name='certificate',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('provenance', 'signed'), ('sealed', True)), models.Q(('sealed', False), models.Q(('provenance', 'signed'), _negated=True)), _connector='OR'), name='certificate_signed_where_sealed'),
        ),
        migrations.AddConstraint(
            model_name='document',
            constraint=models.CheckConstraint(condition=models.Q(('provenance__in', ('signed', 'taken-over', 'attested', 'claimed'))), name='document_provenance_is_known'),
        ),
        migrations.AddConstraint(
            model_name='document',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('provenance', 'signed'), ('sealed', True)), models.Q(('sealed', False), models.Q(('provenance', 'signed'), _negated=True)), _connector='OR'), name='document_signed_where_sealed'),
        ),
        migrations.AddConstraint(
            model_name='endorsement',
            constraint=models.CheckConstraint(condition=models.Q(('provenance__in', ('signed', 'taken-over', 'attested', 'claimed'))), name='endorsement_provenance_is_known'),
        ),
        migrations.AddConstraint(
            model_name='endorsement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('provenance', 'signed'), ('sealed', True)), models.Q(('sealed', False), models.Q(('provenance', 'signed'), _negated=True)), _connector='OR'), name='endorsement_signed_where_sealed'),
        ),
        migrations.AddConstraint(
            model_name='flight',
            constraint=models.CheckConstraint(condition=models.Q(('provenance__in', ('signed', 'taken-over', 'attested', 'claimed'))), name='flight_provenance_is_known'),
        ),
        migrations.AddConstraint(
            model_name='flight',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('provenance', 'signed'), ('sealed', True)), models.Q(('sealed', False), models.Q(('provenance', 'signed'), _negated=True)), _connector='OR'), name='flight_signed_where_sealed'),
        ),
        migrations.AddConstraint(
            model_name='groundlesson',
            constraint=models.CheckConstraint(condition=models.Q(('provenance__in', ('signed', 'taken-over', 'attested', 'claimed'))), name='groundlesson_provenance_is_known'),
        ),
        migrations.AddConstraint(
            model_name='groundlesson',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('provenance', 'signed'), ('sealed', True)), models.Q(('sealed', False), models.Q(('provenance', 'signed'), _negated=True)), _connector='OR'), name='groundlesson_signed_where_sealed'),
        ),
        migrations.AddConstraint(
            model_name='itemgrade',
            constraint=models.CheckConstraint(condition=models.Q(('provenance__in', ('signed', 'taken-over', 'attested', 'claimed'))), name='itemgrade_provenance_is_known'),
        ),
        migrations.AddConstraint(
            model_name='itemgrade',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('provenance', 'signed'), ('sealed', True)), models.Q(('sealed', False), models.Q(('provenance', 'signed'), _negated=True)), _connector='OR'), name='itemgrade_signed_where_sealed'),
        ),
        migrations.AddConstraint(
            model_name='test',
            constraint=models.CheckConstraint(condition=models.Q(('provenance__in', ('signed', 'taken-over', 'attested', 'claimed'))), name='test_provenance_is_known'),
        ),
        migrations.AddConstraint(
            model_name='test',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('provenance', 'signed'), ('sealed', True)), models.Q(('sealed', False), models.Q(('provenance', 'signed'), _negated=True)), _connector='OR'), name='test_signed_where_sealed'),
        ),
    ]
