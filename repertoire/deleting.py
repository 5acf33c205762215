"""Taking a passage away with its markings: what still points at it, and doing so."""

from __future__ import annotations

from django.db import transaction

from repertoire.models import Marking, Passage

# What goes along with a passage or is only remembered of it.
_ITS_OWN = {"marking", "draft", "passage", "sharedmarking", "pictureupload"}


def passage_uses(passage: Passage) -> tuple[str, ...]:
    """What points at a passage or one of its markings from outside, as counted words."""
    found = []
    for model, key in ((Passage, "{}"), (Marking, "{}__passage")):
        for relation in model._meta.related_objects:
            related = relation.related_model
            if related._meta.model_name in _ITS_OWN:
                continue
            wanted = {key.format(relation.field.name): passage}
            if count := related._default_manager.filter(**wanted).distinct().count():
                name = related._meta.verbose_name if count == 1 else related._meta.verbose_name_plural
                found.append(f"{count} {name}")
    return tuple(dict.fromkeys(found))


def delete_passage(passage: Passage) -> None:
    """The passage, its drafts and markings. Raises ProtectedError while something points at one of them."""
    with transaction.atomic():
        passage.drafts.all().delete()
        for marking in Marking.objects.filter(passage=passage).order_by("-number"):
            marking.delete()
        passage.delete()
