"""What selling a bar of a quote's line costs."""

from django.db import migrations

import studio.model_fields


class Migration(migrations.Migration):
    dependencies = [("costing", "0006_sales_shipping")]

    operations = [
        migrations.AddField(
            model_name="quoteline",
            name="fees",
            field=studio.model_fields.MoneyField(blank=True, null=True),
        ),
    ]
