"""Teachers of one studio: a colleague joins by a link that works once, and one who goes closes her account."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from studio.colleague_models import token_digest
from studio.models import Invitation, Student, Studio, Teacher


class InvitationGone(Exception):
    """The link is unknown, has expired, was revoked or was used, perhaps this very moment."""


class CannotLeave(Exception):
    """Why an account can't be closed; the message is for the teacher."""


def colleagues_of(teacher: Teacher) -> QuerySet[Teacher]:
    """The other teachers of the studio whose accounts are open."""
    others = Teacher.objects.filter(studio=teacher.studio_id, is_active=True).exclude(pk=teacher.pk)
    return others.order_by("name", "id")


def open_invitations(teacher: Teacher, at: datetime) -> QuerySet[Invitation]:
    return Invitation.objects.filter(studio=teacher.studio_id, used=None, expires__gt=at).select_related("invited_by")


def invitation_for(token: str, at: datetime) -> Invitation:
    """The invitation a link leads to, if it still stands. Raises InvitationGone.

    An invitation ends with the account of the teacher who wrote it.
    """
    found = (
        Invitation.objects.filter(token_sha256=token_digest(token), used=None, expires__gt=at)
        .filter(invited_by__is_active=True)
        .select_related("studio", "invited_by")
        .first()
    )
    if found is None:
        raise InvitationGone
    return found


def join(token: str, *, name: str, email: str, password: str, at: datetime) -> Teacher:
    """Make the invited teacher's account; the link is dead from then on. Raises InvitationGone.

    Of two who use the link at once one row is changed once: the other finds nothing left.
    """
    with transaction.atomic():
        invitation = invitation_for(token, at)
        if not Invitation.objects.filter(pk=invitation.pk, used=None).update(used=at):
            raise InvitationGone
        return Teacher.objects.create_user(email, password, name=name, studio=invitation.studio)


def close_account(teacher: Teacher) -> None:
    """Close a teacher's account: she can't sign in any more, and her links to invite are dead.
    Raises CannotLeave while she has students, and for the last teacher of a studio."""
    with transaction.atomic():
        # Locked, so that two who leave at once don't leave nobody.
        Studio.objects.select_for_update().get(pk=teacher.studio_id)
        if Student.objects.filter(teacher=teacher).exists():
            raise CannotLeave("You still have students: hand them over first.")
        if not colleagues_of(teacher).exists():
            raise CannotLeave("You are the studio’s last teacher, so your account stays open.")
        Invitation.objects.filter(invited_by=teacher, used=None).delete()
        Teacher.objects.filter(pk=teacher.pk).update(is_active=False)
