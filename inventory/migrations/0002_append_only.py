"""The database refuses UPDATE and DELETE of ledger entries (SQLite and PostgreSQL)."""

from django.db import migrations

from inventory.models.guards import ENTRIES


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial")]

    operations = [
        migrations.RunPython(
            lambda apps, schema_editor: ENTRIES.put_on(schema_editor.connection),
            lambda apps, schema_editor: ENTRIES.take_off(schema_editor.connection),
        )
    ]
