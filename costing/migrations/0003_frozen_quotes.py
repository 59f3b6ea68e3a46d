"""What a line was given of its own; the database keeps sent quotes as they are."""

from django.db import migrations, models

import studio.model_fields
from costing.models.guards import guard_quotes, unguard_quotes


class Migration(migrations.Migration):
    dependencies = [("costing", "0002_selling")]

    operations = [
        migrations.AddField(
            model_name="quoteline",
            name="own_carton",
            field=models.PositiveIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="quoteline",
            name="own_price",
            field=studio.model_fields.MoneyField(blank=True, null=True),
        ),
        migrations.RunPython(
            lambda apps, schema_editor: guard_quotes(schema_editor),
            lambda apps, schema_editor: unguard_quotes(schema_editor),
        ),
    ]
