"""The database's own guard: no two periods of one kind of a student's instrument overlap.

SQLite: two triggers. (Should a later migration rebuild the table, it has to make them again.)
PostgreSQL: an exclusion constraint; it needs the extension btree_gist, which comes with the server.
"""

from django.db import migrations

_OVERLAP = """
    SELECT 1 FROM studio_instrumentperiod AS other
    WHERE other.student_id = NEW.student_id AND other.instrument = NEW.instrument AND other.id IS NOT NEW.id
      AND (other.until IS NULL OR other.until >= NEW.since)
      AND (NEW.until IS NULL OR other.since <= NEW.until)
"""
_TRIGGERS = {"instrument_periods_apart_insert": "INSERT", "instrument_periods_apart_update": "UPDATE"}


def guard(apps, schema_editor):
    if schema_editor.connection.vendor == "sqlite":
        for name, event in _TRIGGERS.items():
            schema_editor.execute(
                f"CREATE TRIGGER {name} BEFORE {event} ON studio_instrumentperiod WHEN EXISTS ({_OVERLAP}) "
                "BEGIN SELECT RAISE(ABORT, 'instrument periods overlap'); END"
            )
    elif schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
        schema_editor.execute(
            "ALTER TABLE studio_instrumentperiod ADD CONSTRAINT instrument_periods_apart EXCLUDE USING gist "
            "(student_id WITH =, instrument WITH =, daterange(since, until, '[]') WITH &&)"
        )


def unguard(apps, schema_editor):
    if schema_editor.connection.vendor == "sqlite":
        for name in _TRIGGERS:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}")
    elif schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("ALTER TABLE studio_instrumentperiod DROP CONSTRAINT IF EXISTS instrument_periods_apart")


class Migration(migrations.Migration):
    dependencies = [("studio", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
