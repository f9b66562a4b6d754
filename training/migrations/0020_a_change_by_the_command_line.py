import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("training", "0019_pages_are_prepared"),
    ]

    operations = [
        migrations.AlterField(
            model_name="peoplechange",
            name="by",
            field=models.ForeignKey(
                blank=True,
                help_text="empty: someone with the server's command line",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
    ]
