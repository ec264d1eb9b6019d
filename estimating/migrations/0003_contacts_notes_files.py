import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('estimating', '0002_rates_and_taxes'),
    ]

    operations = [
        migrations.CreateModel(
            name='Contact',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('words', models.TextField(default='', editable=False, help_text='What it is searched by.')),
                ('name', models.CharField(blank=True, max_length=200)),
                ('role', models.CharField(choices=[('owner', 'Owner'), ('co-owner', 'Co Owner'), ('board', 'Board'), ('landlord', 'Landlord'), ('building-manager', 'building manager'), ('roofer', 'Roofer'), ('engineer', 'Engineer'), ('other', 'Other')], max_length=20)),
                ('email', models.EmailField(blank=True, max_length=254)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('email_key', models.CharField(db_index=True, default='', editable=False, max_length=300)),
                ('phone_key', models.CharField(db_index=True, default='', editable=False, max_length=40)),
            ],
            options={
                'ordering': ['id'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Note',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('words', models.TextField(default='', editable=False, help_text='What it is searched by.')),
                ('created_at', models.DateTimeField()),
                ('erased_at', models.DateTimeField(editable=False, null=True)),
                ('text', models.TextField(blank=True)),
            ],
            options={
                'ordering': ['id'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='StoredFile',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField()),
                ('erased_at', models.DateTimeField(editable=False, null=True)),
                ('kind', models.CharField(choices=[('photo', 'Photo'), ('drawing', 'Drawing'), ('consent', "consent of the roof's owner"), ('other', 'Other')], max_length=10)),
                ('name', models.CharField(blank=True, help_text='As it was called, cleaned.', max_length=150)),
                ('sha256', models.CharField(editable=False, max_length=64)),
                ('size', models.PositiveIntegerField(help_text='[bytes]')),
                ('media_type', models.CharField(help_text='As the bytes say, whatever the name says.', max_length=60)),
                ('folder', models.BigIntegerField(editable=False, help_text='Number of the customer it was handed in for: customers share no stored bytes.')),
            ],
            options={
                'ordering': ['id'],
                'abstract': False,
            },
        ),
        migrations.AddField(
            model_name='customer',
            name='email_key',
            field=models.CharField(db_index=True, default='', editable=False, max_length=300),
        ),
        migrations.AddField(
            model_name='customer',
            name='merged_into',
            field=models.ForeignKey(blank=True, help_text="The same customer under another number, whose this one's jobs are now.", null=True, on_delete=django.db.models.deletion.PROTECT, related_name='merged', to='estimating.customer'),
        ),
        migrations.AddField(
            model_name='customer',
            name='name_address_key',
            field=models.TextField(default='', editable=False),
        ),
        migrations.AddField(
            model_name='customer',
            name='phone_key',
            field=models.CharField(db_index=True, default='', editable=False, max_length=40),
        ),
        migrations.AddField(
            model_name='customer',
            name='postal_address',
            field=models.TextField(blank=True, help_text='Where letters go, if not to the address.'),
        ),
        migrations.AddField(
            model_name='customer',
            name='words',
            field=models.TextField(default='', editable=False, help_text='What it is searched by.'),
        ),
        migrations.AddField(
            model_name='job',
            name='accepted_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='built_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='consent_asked_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='consent_given_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='consent_needed',
            field=models.BooleanField(blank=True, help_text="Of the roof's owner; empty: not known.", null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='deposit_received_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='handed_over_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='paid_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='roof_owner',
            field=models.CharField(choices=[('unknown', 'not known yet'), ('customer', 'the customer'), ('board', 'a condominium or co-op board'), ('landlord', 'a landlord')], default='unknown', help_text='Who owns and controls the roof.', max_length=10),
        ),
        migrations.AddField(
            model_name='job',
            name='starts_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='words',
            field=models.TextField(default='', editable=False, help_text='What it is searched by.'),
        ),
        migrations.AlterField(
            model_name='job',
            name='status',
            field=models.CharField(choices=[('lead', 'Lead'), ('surveyed', 'Surveyed'), ('framed', 'Framed'), ('quoted', 'Quoted'), ('accepted', 'Accepted'), ('deposit-paid', 'Deposit Paid'), ('scheduled', 'Scheduled'), ('building', 'Building'), ('punch', 'Punch'), ('handed-over', 'Handed Over'), ('closed', 'Closed'), ('lost', 'Lost')], default='lead', max_length=20),
        ),
        migrations.AddConstraint(
            model_name='customer',
            constraint=models.CheckConstraint(condition=models.Q(('merged_into', models.F('id')), _negated=True), name='customer_not_merged_into_itself'),
        ),
        migrations.AddField(
            model_name='contact',
            name='customer',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='%(class)ss', to='estimating.customer'),
        ),
        migrations.AddField(
            model_name='contact',
            name='job',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='%(class)ss', to='estimating.job'),
        ),
        migrations.AddField(
            model_name='note',
            name='created_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='note',
            name='customer',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='%(class)ss', to='estimating.customer'),
        ),
        migrations.AddField(
            model_name='note',
            name='job',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='%(class)ss', to='estimating.job'),
        ),
        migrations.AddField(
            model_name='storedfile',
            name='created_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='storedfile',
            name='customer',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='%(class)ss', to='estimating.customer'),
        ),
        migrations.AddField(
            model_name='storedfile',
            name='job',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='%(class)ss', to='estimating.job'),
        ),
        migrations.AddField(
            model_name='job',
            name='consent_file',
            field=models.ForeignKey(blank=True, help_text='The consent as it was given in writing.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='estimating.storedfile'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('consent_given_on', None), ('consent_file__isnull', False), _connector='OR'), name='consent_given_in_writing'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('consent_given_on', None), ('consent_asked_on', None), ('consent_given_on__gte', models.F('consent_asked_on')), _connector='OR'), name='consent_given_after_asking'),
        ),
        migrations.AddConstraint(
            model_name='contact',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('customer__isnull', False), ('job', None)), models.Q(('customer', None), ('job__isnull', False)), _connector='OR'), name='contact_of_customer_or_job'),
        ),
        migrations.AddConstraint(
            model_name='note',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('customer__isnull', False), ('job', None)), models.Q(('customer', None), ('job__isnull', False)), _connector='OR'), name='note_of_customer_or_job'),
        ),
        migrations.AddConstraint(
            model_name='storedfile',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('customer__isnull', False), ('job', None)), models.Q(('customer', None), ('job__isnull', False)), _connector='OR'), name='storedfile_of_customer_or_job'),
        ),
    ]
