import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('estimating', '0001_records'),
    ]

    operations = [
        migrations.CreateModel(
            name='CrewMix',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=60)),
                ('counts', models.JSONField(help_text='[{"grade": "lead", "count": "1"}, ...]')),
                ('note', models.CharField(blank=True, max_length=200)),
                ('valid_from', models.DateField()),
                ('created_at', models.DateTimeField()),
            ],
            options={
                'verbose_name_plural': 'crew mixes',
                'ordering': ['name', 'valid_from', 'id'],
            },
        ),
        migrations.CreateModel(
            name='TaxRule',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('jurisdiction', models.CharField(help_text='As the job has it; large and small letters are alike.', max_length=200)),
                ('rate', models.DecimalField(decimal_places=6, help_text='A fraction: 0.0725 is 7.25 per cent.', max_digits=7)),
                ('place', models.CharField(choices=[('cost', 'on taxable cost, before contingency'), ('sale', 'on the sale, after profit')], max_length=10)),
                ('taxed_lines', models.CharField(choices=[('marked', 'lines whose material is marked taxable'), ('materials', 'all materials'), ('all', 'all lines; of a tax on the sale, the whole sale')], help_text='What it falls on.', max_length=10)),
                ('valid_from', models.DateField()),
                ('source', models.CharField(help_text='Statute, regulation or letter that it is read from.', max_length=300)),
                ('said_by', models.CharField(help_text='Who told the office that it applies: the accountant, say.', max_length=200)),
                ('created_at', models.DateTimeField()),
            ],
            options={
                'ordering': ['jurisdiction', 'valid_from', 'id'],
            },
        ),
        migrations.AddField(
            model_name='office',
            name='tax_is_fallback',
            field=models.BooleanField(db_default=True, default=True, help_text="Whether rate and place above hold where no tax rule names the job's jurisdiction; if not, such a job has no price until a rule is entered."),
        ),
        migrations.AlterField(
            model_name='office',
            name='profit_on',
            field=models.CharField(choices=[('compound', 'on everything before it'), ('cost', 'on direct cost and contingency'), ('direct', 'on direct cost alone'), ('margin', 'a share of the sale itself')], default='compound', max_length=10),
        ),
        migrations.AddConstraint(
            model_name='office',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('profit_on', 'margin'), _negated=True), ('profit_rate__lt', 1), _connector='OR'), name='office_margin_below_one'),
        ),
        migrations.AddField(
            model_name='crewmix',
            name='created_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='taxrule',
            name='created_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddConstraint(
            model_name='taxrule',
            constraint=models.CheckConstraint(condition=models.Q(('rate__gte', 0), ('rate__lte', 1)), name='tax_rate_is_a_fraction'),
        ),
        migrations.AddConstraint(
            model_name='taxrule',
            constraint=models.CheckConstraint(condition=models.Q(('place', 'cost'), ('taxed_lines', 'all'), _connector='OR'), name='tax_on_the_sale_falls_on_all_of_it'),
        ),
    ]
