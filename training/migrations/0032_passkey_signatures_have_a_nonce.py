"""The numbers of passkey signatures are kept once used, so that none is used twice."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0031_invitations_wait_for_an_answer"),
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
