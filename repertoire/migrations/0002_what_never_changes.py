"""Triggers: what must never change doesn't, whatever code asks for it.

A later migration that makes SQLite rebuild one of these tables (AlterField, AddConstraint)
drops the table's triggers there: it must run `lay` again after the change, and then those of 0007 and 0009.
"""

from django.db import migrations

# name, table, columns that stay (all when empty), what to say
FROZEN = [
    ("marking_stays", "repertoire_marking", (), "A marking never changes: make a child of it."),
    (
        "passage_bounds_stay",
        "repertoire_passage",
        ("movement_id", "start_bar", "start_beat", "end_bar", "end_beat", "first_number", "last_number", "teacher_id"),
        "The bounds of a passage never change: extend it into a new one.",
    ),
    (
        "revision_bytes_stay",
        "repertoire_revision",
        ("part_id", "number", "source", "file", "sha256", "part_ref"),
        "The file of a revision never changes: add a revision.",
    ),
    ("notation_stays", "repertoire_notation", (), "The notes of a movement never change: add a revision."),
]
PARENT = "A marking's parent is a marking of the same passage, or of the one it was carried over from."
FOREIGN_PARENT = """NEW.parent_id IS NOT NULL AND NOT EXISTS (
    SELECT 1 FROM repertoire_marking AS parent
    WHERE parent.id = NEW.parent_id AND parent.teacher_id = NEW.teacher_id
      AND (parent.passage_id = NEW.passage_id OR NEW.origin = 'carried'))"""


def quoted(words):
    return "'" + words.replace("'", "''") + "'"


def differs(columns, vendor):
    apart = "IS DISTINCT FROM" if vendor == "postgresql" else "IS NOT"
    return " OR ".join(f"OLD.{c} {apart} NEW.{c}" for c in columns)


def lay(apps, schema_editor):
    drop(apps, schema_editor)
    vendor = schema_editor.connection.vendor
    for name, table, columns, words in FROZEN:
        _trigger(schema_editor, name, "UPDATE", table, differs(columns, vendor), words)
    _trigger(schema_editor, "marking_parent_fits", "INSERT", "repertoire_marking", FOREIGN_PARENT, PARENT)


def _trigger(schema_editor, name, event, table, condition, words):
    if schema_editor.connection.vendor == "sqlite":
        when = f"WHEN {condition} " if condition else ""
        body = f"BEGIN SELECT RAISE(ABORT, {quoted(words)}); END"
        schema_editor.execute(f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW {when}{body}", None)
    elif schema_editor.connection.vendor == "postgresql":
        refuse = f"RAISE EXCEPTION USING ERRCODE = 'integrity_constraint_violation', MESSAGE = {quoted(words)};"
        test = f"IF {condition} THEN {refuse} END IF;" if condition else refuse
        schema_editor.execute(
            f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {test} RETURN NEW; END $$", None
        )
        schema_editor.execute(
            f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()", None
        )


def drop(apps, schema_editor):
    tables = [(name, table) for name, table, *_ in FROZEN] + [("marking_parent_fits", "repertoire_marking")]
    for name, table in tables:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}", None)
            schema_editor.execute(f"DROP FUNCTION IF EXISTS {name}()", None)
        else:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}", None)


class Migration(migrations.Migration):
    dependencies = [("repertoire", "0001_initial")]
    operations = [migrations.RunPython(lay, drop)]
