"""What a line was given of its own; the database keeps sent quotes as they are."""

from django.db import migrations, models

import studio.model_fields
from costing.models.guards import QUOTES


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
            lambda apps, schema_editor: QUOTES.put_on(schema_editor.connection),
            lambda apps, schema_editor: QUOTES.take_off(schema_editor.connection),
        ),
    ]
