import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("inventory", "0012_work_leaves"),
        ("studio", "0005_work_and_webhooks"),
    ]

    operations = [
        migrations.AddField(
            model_name="alert",
            name="digest",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="alerts",
                to="studio.digest",
            ),
        ),
    ]
