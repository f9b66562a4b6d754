from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('training', '0010_who_may_sign_and_own_minimums'),
    ]

    operations = [
        migrations.AddField(
            model_name=model,
            name='confirmed',
            field=models.JSONField(blank=True, default=dict, help_text='as the ledger has it'),
        )
        for model in ('signoff', 'acknowledgement', 'endorsementseal', 'revocation')
    ]
