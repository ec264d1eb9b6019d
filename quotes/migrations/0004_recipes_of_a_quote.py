
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('quotes', '0003_impact'),
    ]

    operations = [
        migrations.AddField(
            model_name='quote',
            name='recipes',
            field=models.JSONField(default=list, help_text='Recipes: recipe, version, quantities as asked, corners.'),
        ),
    ]
