"""Every change of the state of a student's work is an event of its own, which is never rewritten:
an assignment comes into another state, ends or is taken up again only after one that says so."""

from importlib import import_module

import django.db.models.deletion
from django.db import migrations, models


LATEST = "(SELECT after FROM lessons_statechange WHERE assignment_id = OLD.id ORDER BY id DESC LIMIT 1)"
# name, table, condition ({apart} is "differs, null included"), what to say
RULES = [
    ("state_change_stays", "lessons_statechange", "", "A state change is never rewritten: add another."),
    (
        "assignment_state_has_a_change",
        "lessons_assignment",
        f"OLD.state {{apart}} NEW.state AND {LATEST} {{apart}} NEW.state",
        "Another state needs a state change that says since when.",
    ),
    (
        "assignment_ends_with_a_change",
        "lessons_assignment",
        "OLD.ended {apart} NEW.ended AND "
        f"{LATEST} {{apart}} (CASE WHEN NEW.ended IS NULL THEN NEW.state ELSE 'ended' END)",
        "Ending work, or taking it up again, needs a state change that says when.",
    ),
]
triggers = import_module("lessons.migrations.0002_what_never_changes")


def lay(apps, schema_editor):
    triggers.lay_rules(schema_editor, RULES)


def drop(apps, schema_editor):
    triggers.drop_rules(schema_editor, RULES)


class Migration(migrations.Migration):
    dependencies = [
        ("lessons", "0005_step_markings"),
        ("repertoire", "0007_owner_passes_with_a_handover"),
    ]

    operations = [
        migrations.CreateModel(
            name="StateChange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "before",
                    models.CharField(
                        choices=[
                            ("new", "new"),
                            ("working", "working"),
                            ("secure", "secure"),
                            ("performed", "performed"),
                            ("resting", "resting"),
                            ("ended", "done with"),
                        ],
                        max_length=9,
                    ),
                ),
                (
                    "after",
                    models.CharField(
                        choices=[
                            ("new", "new"),
                            ("working", "working"),
                            ("secure", "secure"),
                            ("performed", "performed"),
                            ("resting", "resting"),
                            ("ended", "done with"),
                        ],
                        max_length=9,
                    ),
                ),
                ("reason", models.CharField(blank=True, max_length=300)),
                ("at", models.DateTimeField()),
                (
                    "assignment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="state_changes",
                        to="lessons.assignment",
                    ),
                ),
                (
                    "lesson",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="state_changes",
                        to="lessons.lesson",
                    ),
                ),
                (
                    "marking",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="repertoire.marking",
                    ),
                ),
            ],
            options={
                "ordering": ["at", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("before", models.F("after")), _negated=True), name="state_change_changes"
                    )
                ],
            },
        ),
        migrations.RunPython(lay, drop),
    ]
