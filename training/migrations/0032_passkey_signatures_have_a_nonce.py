"""The numbers of passkey signatures are kept once used, so that none is used twice."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0029_heartbeats_and_rendered_pages"),
    ]

    operations = [
        migrations.CreateModel(
            name="SpentNonce",
            fields=[
                ("nonce", models.CharField(max_length=30, primary_key=True, serialize=False)),
                ("at", models.DateTimeField()),
            ],
            options={"ordering": ["at"]},
        ),
    ]
