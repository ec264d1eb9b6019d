
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('estimating', '0004_words_to_search_by'),
    ]

    operations = [
        migrations.CreateModel(
            name='Recipe',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('name', models.CharField(max_length=120, unique=True)),
                ('active', models.BooleanField(default=True, help_text='No quote takes up one that is not.')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='RecipeVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('number', models.PositiveIntegerField(blank=True, null=True)),
                ('kind', models.CharField(choices=[('general', 'nothing besides its own notes'), ('guard', 'guard: deferred to building department and engineer, posts counted'), ('screen', 'screen: wind on it for an engineer, posts counted where it has them'), ('planter', 'planter: its saturated weight against what the deck was reckoned for'), ('by-roofer', 'work by the roofer: every line an allowance')], max_length=10)),
                ('unit', models.CharField(help_text='What it is counted in, UN/ECE Rec 20/21.', max_length=3)),
                ('content', models.JSONField()),
                ('in_force_from', models.DateField(blank=True, null=True)),
                ('created_at', models.DateTimeField()),
                ('put_in_force_at', models.DateTimeField(blank=True, null=True)),
                ('created_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('put_in_force_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('recipe', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='versions', to='estimating.recipe')),
            ],
            options={
                'ordering': ['id'],
                'constraints': [models.UniqueConstraint(fields=('recipe', 'number'), name='recipe_version_number_a_recipe'), models.CheckConstraint(condition=models.Q(models.Q(('in_force_from__isnull', True), ('number__isnull', True), ('put_in_force_at__isnull', True)), models.Q(('in_force_from__isnull', False), ('number__isnull', False), ('put_in_force_at__isnull', False)), _connector='OR'), name='recipe_version_numbered_when_in_force'), models.CheckConstraint(condition=models.Q(('kind__in', ['general', 'guard', 'screen', 'planter', 'by-roofer'])), name='recipe_version_of_a_known_kind')],
            },
        ),
    ]
