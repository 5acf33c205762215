"""Pictures as excerpts; a kept picture and the picture of a passage never change.

The new column is nullable, so SQLite adds it without rebuilding the table of passages and
its triggers stay.
"""

from importlib import import_module

import django.db.models.deletion
import repertoire.picture_models
from django.conf import settings
from django.db import migrations, models

never_changes = import_module("repertoire.migrations.0002_what_never_changes")
PICTURE = "A kept picture never changes: signs stand at places on it. Make a passage with another picture."
PASSAGE = "The picture of a passage never changes: make a passage with the other picture."
TABLES = {"picture_stays": "repertoire_excerptpicture", "passage_picture_stays": "repertoire_passage"}


def lay(apps, schema_editor):
    drop(apps, schema_editor)
    other = never_changes.differs(("picture_id",), schema_editor.connection.vendor)
    never_changes._trigger(schema_editor, "picture_stays", "UPDATE", TABLES["picture_stays"], "", PICTURE)
    never_changes._trigger(
        schema_editor, "passage_picture_stays", "UPDATE", TABLES["passage_picture_stays"], other, PASSAGE
    )


def drop(apps, schema_editor):
    for name, table in TABLES.items():
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}", None)
            schema_editor.execute(f"DROP FUNCTION IF EXISTS {name}()", None)
        else:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}", None)


class Migration(migrations.Migration):
    dependencies = [
        ("repertoire", "0004_bow_choices"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="ExcerptPicture",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("image", models.FileField(max_length=200, upload_to=repertoire.picture_models.picture_path)),
                ("sha256", models.CharField(max_length=64)),
                ("width", models.PositiveIntegerField()),
                ("height", models.PositiveIntegerField()),
                ("staves", models.JSONField(blank=True, default=list)),
                ("file_name", models.CharField(max_length=200)),
                ("page", models.PositiveIntegerField(default=1)),
                ("created", models.DateTimeField(auto_now_add=True)),
                (
                    "teacher",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="excerpt_pictures",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
            },
        ),
        migrations.AddField(
            model_name="passage",
            name="picture",
            field=models.ForeignKey(
                blank=True,
                help_text="the excerpt, where a picture carries it instead of notation",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="passages",
                to="repertoire.excerptpicture",
            ),
        ),
        migrations.CreateModel(
            name="PictureUpload",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("image", models.FileField(max_length=200, upload_to=repertoire.picture_models.picture_path)),
                (
                    "document",
                    models.FileField(blank=True, max_length=200, upload_to=repertoire.picture_models.picture_path),
                ),
                ("file_name", models.CharField(max_length=200)),
                ("page", models.PositiveIntegerField(default=1)),
                ("pages", models.PositiveIntegerField(default=1)),
                ("width", models.PositiveIntegerField()),
                ("height", models.PositiveIntegerField()),
                ("created", models.DateTimeField(auto_now_add=True)),
                (
                    "movement",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="picture_uploads",
                        to="repertoire.movement",
                    ),
                ),
                (
                    "teacher",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="picture_uploads",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-created", "-id"],
            },
        ),
        migrations.RunPython(lay, drop),
    ]
