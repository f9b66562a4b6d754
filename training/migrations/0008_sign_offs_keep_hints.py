from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0007_ticks"),
    ]

    operations = [
        migrations.AddField(
            model_name="signoff",
            name="hints",
            field=models.JSONField(blank=True, default=list),
        ),
    ]
