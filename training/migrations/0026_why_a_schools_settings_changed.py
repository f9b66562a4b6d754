from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('training', '0025_kinds_of_instructor_and_of_school'),
    ]

    operations = [
        migrations.AddField(
            model_name='schoolchange',
            name='reason',
            field=models.TextField(blank=True, default='', help_text='why, where that is asked'),
        ),
        migrations.AddField(
            model_name='schoolchange',
            name='confirmed',
            field=models.JSONField(blank=True, default=dict, help_text='how it was made sure who changed it, where that is asked'),
        ),
    ]
