"""Triggers: what was noted stays as it was noted, whatever code asks for it.

Observations, marking changes and issued sheets are never rewritten; an assignment keeps its
student and its music, and takes another marking only after a marking change that says so.

A later migration that makes SQLite rebuild one of these tables (AlterField, AddConstraint)
drops the table's triggers there: it must run `lay` again after the change.
"""

from django.db import migrations

LATEST = "(SELECT after_id FROM lessons_markingchange WHERE assignment_id = OLD.id ORDER BY id DESC LIMIT 1)"
# name, table, condition ({apart} is "differs, null included"), what to say
RULES = [
    ("observation_stays", "lessons_observation", "", "An observation is never rewritten: add a correction."),
    ("marking_change_stays", "lessons_markingchange", "", "A marking change is never rewritten: add another."),
    ("sheet_stays", "lessons_sheet", "", "An issued sheet never changes: issue another."),
    (
        "assignment_keeps_its_music",
        "lessons_assignment",
        "OLD.student_id {apart} NEW.student_id OR OLD.piece_id {apart} NEW.piece_id"
        " OR OLD.passage_id {apart} NEW.passage_id",
        "An assignment keeps its student and its music: end it and assign another.",
    ),
    (
        "assignment_marking_has_a_change",
        "lessons_assignment",
        f"OLD.marking_id {{apart}} NEW.marking_id AND {LATEST} {{apart}} NEW.marking_id",
        "Another marking needs a marking change that says why.",
    ),
]


def lay(apps, schema_editor):
    lay_rules(schema_editor, RULES)


def drop(apps, schema_editor):
    drop_rules(schema_editor, RULES)


def lay_rules(schema_editor, rules):
    """Lay these rules, instead of those of the same names; later migrations bring rules of their own."""
    drop_rules(schema_editor, rules)
    postgresql = schema_editor.connection.vendor == "postgresql"
    apart = "IS DISTINCT FROM" if postgresql else "IS NOT"
    for name, table, condition, words in rules:
        condition = condition.format(apart=apart)
        words = "'" + words.replace("'", "''") + "'"
        if postgresql:
            refuse = f"RAISE EXCEPTION USING ERRCODE = 'integrity_constraint_violation', MESSAGE = {words};"
            body = f"IF {condition} THEN {refuse} END IF;" if condition else refuse
            schema_editor.execute(
                f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body} RETURN NEW; END $$", None
            )
            schema_editor.execute(
                f"CREATE TRIGGER {name} BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()", None
            )
        else:
            when = f"WHEN {condition} " if condition else ""
            schema_editor.execute(
                f"CREATE TRIGGER {name} BEFORE UPDATE ON {table} FOR EACH ROW {when}"
                f"BEGIN SELECT RAISE(ABORT, {words}); END",
                None,
            )


def drop_rules(schema_editor, rules):
    for name, table, *_ in rules:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}", None)
            schema_editor.execute(f"DROP FUNCTION IF EXISTS {name}()", None)
        else:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}", None)


class Migration(migrations.Migration):
    dependencies = [("lessons", "0001_initial")]
    operations = [migrations.RunPython(lay, drop)]
