"""Two tables get the names that the program uses for them: heartbeats, and what rendered a student's pages."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0028_pages_are_in_djangos_cache"),
    ]

    operations = [
        migrations.RenameModel("Tick", "Heartbeat"),
        migrations.RemoveIndex("Standing", "standing_by_prepared"),
        migrations.RenameField("Standing", "prepared", "rendered_by"),
        migrations.AddIndex("Standing", models.Index(fields=["rendered_by"], name="standing_by_rendered_by")),
    ]
