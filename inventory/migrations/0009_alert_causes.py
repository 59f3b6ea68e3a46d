"""Low-stock alerts become alerts of any kind; jobs and webhooks are new."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

AMOUNTS = ("on_hand", "reserved", "planned", "on_order", "projected", "reorder_point")


def keep_figures(apps, schema_editor):
    """What stood in columns of its own becomes the figures of a low-stock alert."""
    alert = apps.get_model("inventory", "Alert")
    rows = alert.objects.select_related("material").iterator(chunk_size=500)
    for row in rows:
        row.kind = "low-stock"
        row.subject = f"material:{row.material.code}"
        row.name = row.material.name
        row.figures = {
            "unit": "each" if row.material.counted else "g",
            "quarantine": 0,
            **{name: getattr(row, name) for name in AMOUNTS},
        }
        row.save(update_fields=["kind", "subject", "name", "figures"])


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0008_lot_allergens'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RemoveConstraint('lowstockalert', 'one_open_alert_per_material'),
        migrations.RenameModel('LowStockAlert', 'Alert'),
        migrations.AddField('alert', 'kind', models.CharField(max_length=30, default='low-stock'), preserve_default=False),
        migrations.AddField('alert', 'subject', models.CharField(max_length=120, default=''), preserve_default=False),
        migrations.AddField('alert', 'name', models.CharField(max_length=200, default='', help_text='What it is about, in words.'), preserve_default=False),
        migrations.AddField('alert', 'figures', models.JSONField(default=dict)),
        migrations.AddField('alert', 'acknowledged_at', models.DateTimeField(blank=True, null=True)),
        migrations.AddField('alert', 'acknowledged_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
        migrations.AddField('alert', 'snoozed_until', models.DateField(blank=True, null=True)),
        migrations.RunPython(keep_figures),
    ]
