import django.db.models.deletion
from django.db import migrations, models


def lift_triggers(apps, schema_editor):
    """SQLite rebuilds a table by another name, which triggers that name it forbid; they are made again after migrating.

    In the migration's own transaction, so that a failure leaves them where they were.
    """
    if schema_editor.connection.vendor != "sqlite":
        return
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%\\_final\\_%' ESCAPE '\\'")
        for (name,) in cursor.fetchall():
            cursor.execute(f'DROP TRIGGER "{name}"')


class Migration(migrations.Migration):
    """Price lists: readings, limits, addresses and fetches of a list; what a row says besides its price."""

    dependencies = [
        ('estimating', '0005_recipes'),
    ]

    operations = [
        migrations.RunPython(lift_triggers, migrations.RunPython.noop, elidable=True),
        migrations.CreateModel(
            name='PriceFetch',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('outcome', models.CharField(choices=[('unchanged', 'Unchanged'), ('staged', 'Staged'), ('approved', 'Approved'), ('refused', 'Refused'), ('failed', 'Failed')], max_length=10)),
                ('detail', models.TextField(blank=True)),
                ('url', models.CharField(max_length=500)),
                ('etag', models.CharField(blank=True, max_length=200)),
                ('last_modified', models.CharField(blank=True, max_length=100)),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.RemoveConstraint(
            model_name='price',
            name='one_price_a_sku_and_date',
        ),
        migrations.AddField(
            model_name='material',
            name='buying_unit',
            field=models.CharField(blank=True, help_text='Where the supplier sells the SKU in several: which one, UN/ECE Rec 20/21.', max_length=3),
        ),
        migrations.AddField(
            model_name='price',
            name='freight',
            field=models.DecimalField(blank=True, decimal_places=4, help_text='For one `unit`, on top of the price.', max_digits=15, null=True),
        ),
        migrations.AddField(
            model_name='price',
            name='lead_days',
            field=models.PositiveSmallIntegerField(blank=True, help_text='From order to delivery. [days]', null=True),
        ),
        migrations.AddField(
            model_name='price',
            name='list_price',
            field=models.DecimalField(blank=True, decimal_places=4, help_text="Before the supplier's discount.", max_digits=15, null=True),
        ),
        migrations.AddField(
            model_name='price',
            name='minimum_order',
            field=models.DecimalField(blank=True, decimal_places=4, help_text='Least that is sold. [unit]', max_digits=12, null=True),
        ),
        migrations.AddField(
            model_name='price',
            name='note',
            field=models.CharField(blank=True, help_text='What reading the row had to settle.', max_length=200),
        ),
        migrations.AddField(
            model_name='price',
            name='superseded_by',
            field=models.CharField(blank=True, help_text='SKU that takes its place.', max_length=60),
        ),
        migrations.AddField(
            model_name='price',
            name='tier',
            field=models.CharField(blank=True, help_text="The supplier's price tier; empty: for all.", max_length=40),
        ),
        migrations.AddField(
            model_name='pricelist',
            name='authorization',
            field=models.CharField(blank=True, help_text='Name of the setting whose header goes along; never the secret itself.', max_length=40),
        ),
        migrations.AddField(
            model_name='pricelist',
            name='every_hours',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Fetched by itself so often; empty: by hand only. [h]', null=True),
        ),
        migrations.AddField(
            model_name='pricelist',
            name='limits',
            field=models.JSONField(blank=True, help_text='Within which a version is approved by itself; empty: a person approves.', null=True),
        ),
        migrations.AddField(
            model_name='pricelist',
            name='reading',
            field=models.JSONField(blank=True, help_text='How its files are read, confirmed by a person; empty: our own columns.', null=True),
        ),
        migrations.AddField(
            model_name='pricelist',
            name='source_url',
            field=models.URLField(blank=True, help_text='HTTPS address that the list is fetched from.', max_length=500),
        ),
        migrations.AddField(
            model_name='pricelist',
            name='tier',
            field=models.CharField(blank=True, help_text="The supplier's price tier at which the office buys; empty: it has none.", max_length=40),
        ),
        migrations.AddField(
            model_name='pricelistversion',
            name='blank_count',
            field=models.PositiveIntegerField(default=0, help_text='Blank rows below the header.'),
        ),
        migrations.AddField(
            model_name='pricelistversion',
            name='changes',
            field=models.JSONField(blank=True, default=dict, help_text='How many rows are new, gone, dearer and so on.'),
        ),
        migrations.AddField(
            model_name='pricelistversion',
            name='compared_with',
            field=models.ForeignKey(blank=True, help_text='The version that was in force when this one was compared.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='estimating.pricelistversion'),
        ),
        migrations.AddField(
            model_name='pricelistversion',
            name='findings',
            field=models.JSONField(blank=True, default=list, help_text='What a person should look at before approving.'),
        ),
        migrations.AddField(
            model_name='pricelistversion',
            name='headings',
            field=models.JSONField(blank=True, default=list, help_text="Of the file's columns, as they stand in it."),
        ),
        migrations.AddField(
            model_name='rejectedprice',
            name='as_price',
            field=models.JSONField(blank=True, help_text='The price that a duplicate would be, if it is kept.', null=True),
        ),
        migrations.AlterField(
            model_name='price',
            name='price',
            field=models.DecimalField(decimal_places=4, help_text='Net, for one `unit`, before tax and freight.', max_digits=15),
        ),
        migrations.AlterField(
            model_name='rejectedprice',
            name='cells',
            field=models.JSONField(help_text="The row's cells as they were read, in the order of the version's headings."),
        ),
        migrations.AddConstraint(
            model_name='price',
            constraint=models.UniqueConstraint(condition=models.Q(('pack_quantity__isnull', True)), fields=('list_version', 'sku', 'valid_from', 'tier', 'unit'), name='one_price_a_sku_tier_unit_and_date'),
        ),
        migrations.AddConstraint(
            model_name='price',
            constraint=models.UniqueConstraint(condition=models.Q(('pack_quantity__isnull', False)), fields=('list_version', 'sku', 'valid_from', 'tier', 'unit', 'pack_quantity'), name='one_price_a_sku_tier_pack_and_date'),
        ),
        migrations.AddConstraint(
            model_name='price',
            constraint=models.CheckConstraint(condition=models.Q(('list_price__isnull', True), ('list_price__gte', models.F('price')), _connector='OR'), name='price_not_over_list'),
        ),
        migrations.AddConstraint(
            model_name='price',
            constraint=models.CheckConstraint(condition=models.Q(('freight__isnull', True), ('freight__gte', 0), _connector='OR'), name='freight_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='price',
            constraint=models.CheckConstraint(condition=models.Q(('minimum_order__isnull', True), ('minimum_order__gt', 0), _connector='OR'), name='minimum_order_positive'),
        ),
        migrations.AddConstraint(
            model_name='pricelist',
            constraint=models.CheckConstraint(condition=models.Q(('every_hours__isnull', True), ('every_hours__gt', 0), _connector='OR'), name='price_list_every_hours_positive'),
        ),
        migrations.AddField(
            model_name='pricefetch',
            name='list_version',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='estimating.pricelistversion'),
        ),
        migrations.AddField(
            model_name='pricefetch',
            name='price_list',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='fetches', to='estimating.pricelist'),
        ),
        migrations.AddIndex(
            model_name='pricefetch',
            index=models.Index(fields=['price_list', 'at'], name='price_fetch_by_list'),
        ),
        migrations.RunPython(migrations.RunPython.noop, lift_triggers, elidable=True),
    ]
