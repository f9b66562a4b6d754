"""Rendered pages move to Django's cache framework; nothing is moved, for each is rendered again when needed."""

from django.core.management import call_command
from django.db import migrations

TABLE = "training_page_cache"


def create(apps, schema_editor):
    call_command("createcachetable", TABLE, database=schema_editor.connection.alias, verbosity=0)


def drop(apps, schema_editor):
    schema_editor.execute(f"DROP TABLE {schema_editor.quote_name(TABLE)}")


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0001_squashed_0027_the_first_release"),
    ]

    operations = [
        migrations.DeleteModel("PreparedPage"),
        migrations.RunPython(create, drop),
    ]
