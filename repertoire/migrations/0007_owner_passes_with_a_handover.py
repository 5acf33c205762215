"""Triggers: who owns a passage and its markings changes only to the teacher a student went to.

These take the place of `marking_stays`, `passage_bounds_stay` and `marking_parent_fits` of migration 0002: a
later migration that makes SQLite rebuild one of the tables must run 0002's `lay`, then this one's and that of 0009.
"""

from importlib import import_module

from django.db import migrations

before = import_module("repertoire.migrations.0002_what_never_changes")

MARKING = (
    "passage_id", "number", "name", "origin", "source", "reason", "parent_id", "marks", "bow_digest",
    "left_hand_digest", "words_digest", "rule_version", "hand_changes", "created",
)  # fmt: skip
BOUNDS = ("movement_id", "start_bar", "start_beat", "end_bar", "end_beat", "first_number", "last_number")
NO_HANDOVER = """NOT EXISTS (
    SELECT 1 FROM studio_handover WHERE giver_id = OLD.teacher_id AND taker_id = NEW.teacher_id)"""
# A version of the same passage may come from either of two teachers who work on it.
FOREIGN_PARENT = """NEW.parent_id IS NOT NULL AND NOT EXISTS (
    SELECT 1 FROM repertoire_marking AS parent
    WHERE parent.id = NEW.parent_id AND (parent.passage_id = NEW.passage_id
      OR (parent.teacher_id = NEW.teacher_id AND NEW.origin = 'carried')))"""
RULES = [
    ("marking_stays", "repertoire_marking", MARKING, "A marking never changes: make a child of it."),
    (
        "passage_bounds_stay",
        "repertoire_passage",
        BOUNDS,
        "The bounds of a passage never change: extend it into a new one.",
    ),
]


def lay(apps, schema_editor):
    drop_these(schema_editor)
    vendor = schema_editor.connection.vendor
    owner = f"({before.differs(('teacher_id',), vendor)}) AND {NO_HANDOVER}"
    for name, table, columns, words in RULES:
        condition = f"({before.differs(columns, vendor)}) OR ({owner})"
        before._trigger(schema_editor, name, "UPDATE", table, condition, words)
    before._trigger(
        schema_editor, "marking_parent_fits", "INSERT", "repertoire_marking", FOREIGN_PARENT, before.PARENT
    )


def drop_these(schema_editor):
    tables = [(name, table) for name, table, *_ in RULES] + [("marking_parent_fits", "repertoire_marking")]
    for name, table in tables:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}", None)
            schema_editor.execute(f"DROP FUNCTION IF EXISTS {name}()", None)
        else:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}", None)


class Migration(migrations.Migration):
    dependencies = [("repertoire", "0006_sharing_with_colleagues"), ("studio", "0004_colleagues")]
    operations = [migrations.RunPython(lay, before.lay)]
