"""Triggers: who owns a passage and its markings changes also when their owner has left the studio.

The rules are those of migration 0007 with one more way for an owner to change: from a teacher whose account is
closed to a colleague. A later migration that makes SQLite rebuild one of the tables must run 0002's `lay`, 0007's
and then this one's.
"""

from importlib import import_module

from django.db import migrations

before = import_module("repertoire.migrations.0002_what_never_changes")
handover = import_module("repertoire.migrations.0007_owner_passes_with_a_handover")

STAYS_IN_THE_STUDIO = """NOT EXISTS (
    SELECT 1 FROM studio_teacher AS gone JOIN studio_teacher AS heir ON heir.studio_id = gone.studio_id
    WHERE gone.id = OLD.teacher_id AND NOT gone.is_active AND heir.id = NEW.teacher_id AND heir.is_active)"""


def lay(apps, schema_editor):
    vendor = schema_editor.connection.vendor
    drop(schema_editor)
    other = before.differs(("teacher_id",), vendor)
    owner = f"({other}) AND {handover.NO_HANDOVER} AND {STAYS_IN_THE_STUDIO}"
    for name, table, columns, words in handover.RULES:
        before._trigger(
            schema_editor, name, "UPDATE", table, f"({before.differs(columns, vendor)}) OR ({owner})", words
        )


def drop(schema_editor):
    for name, table, *_ in handover.RULES:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}", None)
            schema_editor.execute(f"DROP FUNCTION IF EXISTS {name}()", None)
        else:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}", None)


class Migration(migrations.Migration):
    dependencies = [("repertoire", "0008_crop_again"), ("studio", "0004_colleagues")]
    operations = [migrations.RunPython(lay, handover.lay)]
