"""The triggers that keep sealed rows; rights for a plain role on PostgreSQL: manage.py ledger_guards --grants ROLE."""

from django.db import migrations

from training.triggers.ledger import TRIGGERS


def install(apps, schema_editor):
    TRIGGERS.install(schema_editor.connection)


def remove(apps, schema_editor):
    TRIGGERS.remove(schema_editor.connection)


class Migration(migrations.Migration):
    dependencies = [("ledger", "0001_initial")]

    operations = [migrations.RunPython(install, remove)]
