from django.db import migrations


class Migration(migrations.Migration):
    """Digests, jobs and messages to other programs move to the studio: their names are free."""

    dependencies = [
        ("inventory", "0011_buying"),
    ]

    operations = [
        migrations.RemoveField(model_name="alert", name="digest"),
        migrations.DeleteModel(name="Digest"),
        migrations.DeleteModel(name="Job"),
        migrations.DeleteModel(name="WebhookDelivery"),
        migrations.DeleteModel(name="WebhookTarget"),
    ]
