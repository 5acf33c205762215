"""Work that ended before state changes were kept gets the one that is known: the day it ended."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

from django.db import migrations


def tell_ends(apps, schema_editor):
    change = apps.get_model("lessons", "StateChange")
    ended = apps.get_model("lessons", "Assignment").objects.exclude(ended=None)
    change.objects.bulk_create(
        change(
            assignment=work,
            before=work.state,
            after="ended",
            marking_id=work.marking_id,
            at=datetime.combine(work.ended, time(12), ZoneInfo(work.student.teacher.studio.timezone)),
        )
        for work in ended.select_related("student__teacher__studio")
    )


class Migration(migrations.Migration):
    dependencies = [("lessons", "0006_state_changes")]
    operations = [migrations.RunPython(tell_ends, migrations.RunPython.noop)]
