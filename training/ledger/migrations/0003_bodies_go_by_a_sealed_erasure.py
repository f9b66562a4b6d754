"""The trigger on bodies lets one go that a later sealed entry of an erasure names."""

from django.db import migrations

from training.triggers.ledger import TRIGGERS


def install(apps, schema_editor):
    TRIGGERS.install(schema_editor.connection)


class Migration(migrations.Migration):
    dependencies = [("ledger", "0002_guards")]

    operations = [migrations.RunPython(install, migrations.RunPython.noop)]
