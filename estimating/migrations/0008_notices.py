import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    """Notices by jurisdiction and date."""

    dependencies = [
        ('estimating', '0007_paper_size_and_held_orders'),
    ]

    operations = [
        migrations.CreateModel(
            name='Notice',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('jurisdiction', models.CharField(blank=True, help_text='As the job has it, or its state (CA, California); large and small letters are alike. Empty: everywhere that has none of its own.', max_length=200)),
                ('kind', models.CharField(choices=[('cancellation', 'cancellation notice'), ('lien', 'lien notice'), ('licensing', 'licensing notice'), ('insurance', 'insurance notice'), ('deposit', 'deposit notice'), ('trust-account', 'notice about money held in trust'), ('subcontractors', 'notice about subcontractors'), ('electronic-records', 'notice about electronic records'), ('financing', 'financing notice'), ('lead-paint', 'lead paint notice'), ('arbitration', 'arbitration notice'), ('other', 'further notice')], max_length=20)),
                ('title', models.CharField(max_length=200)),
                ('body', models.TextField(blank=True, help_text='Text with blanks; of one that is not needed, the reason.')),
                ('values', models.JSONField(blank=True, default=dict, help_text="The office's text for blanks of its own.")),
                ('placement', models.CharField(choices=[('proposal', 'in the proposal'), ('acceptance', 'where it is accepted, before the name is typed')], default='proposal', max_length=10)),
                ('copies', models.PositiveSmallIntegerField(default=1)),
                ('point_size', models.PositiveSmallIntegerField(default=10, help_text='Least size of its letters. [pt]')),
                ('bold', models.BooleanField(default=False)),
                ('cancel_days', models.PositiveSmallIntegerField(blank=True, help_text='Of a cancellation notice: business days that it gives, where they are more than the rules on file.', null=True)),
                ('not_needed', models.BooleanField(default=False, help_text='This kind is not needed in this jurisdiction.')),
                ('source', models.CharField(help_text='Statute, regulation or letter that it is read from.', max_length=300)),
                ('said_by', models.CharField(help_text='Who told the office that it applies: its counsel, say.', max_length=200)),
                ('valid_from', models.DateField()),
                ('review_by', models.DateField(help_text='The day by which counsel looks at it again.')),
                ('created_at', models.DateTimeField()),
                ('created_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['jurisdiction', 'kind', 'valid_from', 'id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('copies__in', (1, 2))), name='notice_in_one_or_two_copies'), models.CheckConstraint(condition=models.Q(('review_by__gte', models.F('valid_from'))), name='notice_reviewed_after_its_day'), models.CheckConstraint(condition=models.Q(('not_needed', False), models.Q(('body', ''), _negated=True), _connector='OR'), name='notice_not_needed_says_why'), models.CheckConstraint(condition=models.Q(('cancel_days', None), models.Q(('cancel_days__gte', 1), ('kind', 'cancellation')), _connector='OR'), name='notice_days_of_cancellation')],
            },
        ),
    ]
