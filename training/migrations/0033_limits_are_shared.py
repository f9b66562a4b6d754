"""Counts of attempts move from each process's memory to a table, so that all workers share them."""

from django.core.management import call_command
from django.db import migrations

TABLE = "training_limits"


def create(apps, schema_editor):
    call_command("createcachetable", TABLE, database=schema_editor.connection.alias, verbosity=0)


def drop(apps, schema_editor):
    schema_editor.execute(f"DROP TABLE {schema_editor.quote_name(TABLE)}")


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0032_passkey_signatures_have_a_nonce"),
    ]

    operations = [
        migrations.RunPython(create, drop),
    ]
