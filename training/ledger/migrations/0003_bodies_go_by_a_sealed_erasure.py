"""The trigger on bodies lets one go that a later sealed entry of an erasure names."""

from django.db import migrations

from training.ledger import guards


def install(apps, schema_editor):
    guards.install(schema_editor.connection)


class Migration(migrations.Migration):
    dependencies = [("ledger", "0002_guards")]

    operations = [migrations.RunPython(install, migrations.RunPython.noop)]
