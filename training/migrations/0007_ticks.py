from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("training", "0006_courses_are_pinned"),
    ]

    operations = [
        migrations.CreateModel(
            name="Tick",
            fields=[
                ("name", models.CharField(max_length=50, primary_key=True, serialize=False)),
                ("at", models.DateTimeField()),
            ],
            options={
                "ordering": ["name"],
            },
        ),
    ]
