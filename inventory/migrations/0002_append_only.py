"""The database refuses UPDATE and DELETE of ledger entries (SQLite and PostgreSQL)."""

from django.db import migrations

from inventory.models.guards import guard_entries, unguard_entries


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial")]

    operations = [
        migrations.RunPython(
            lambda apps, schema_editor: guard_entries(schema_editor),
            lambda apps, schema_editor: unguard_entries(schema_editor),
        )
    ]
