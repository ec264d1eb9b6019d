from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('quotes', '0001_records'),
    ]

    operations = [
        migrations.AddField(
            model_name='quote',
            name='allowances',
            field=models.JSONField(help_text='Sums allowed for what is not settled: name, amount, includes, settlement, taxable.', null=True),
        ),
        migrations.AddField(
            model_name='quote',
            name='crew_mix',
            field=models.CharField(blank=True, db_default='', default='', help_text='Name of the crew mix; empty: the usual crew.', max_length=60),
        ),
        migrations.AddField(
            model_name='quote',
            name='discount',
            field=models.JSONField(help_text='Amount or share, reason, before or after tax.', null=True),
        ),
        migrations.AddField(
            model_name='quote',
            name='escalation',
            field=models.JSONField(help_text='The clause that lets the price move with an index.', null=True),
        ),
    ]
