"""What every page of the repertoire keeps to: its owner, nobody else, signed in, the right method."""

from __future__ import annotations

from collections.abc import Callable

from django.test import Client

from studio.models import Teacher


def keeps_to_its_owner(
    url: str,
    client_of: Callable[[Teacher], Client],
    teacher: Teacher,
    others: tuple[Teacher, ...],
    *,
    post: bool = False,
) -> None:
    """The owner is let in, others get 404, the anonymous are sent to sign in, PUT is refused."""
    for other in others:
        found = client_of(other).post(url) if post else client_of(other).get(url)
        assert found.status_code == 404, f"{other} got {found.status_code} from {url}"
    anonymous = Client().post(url) if post else Client().get(url)
    assert anonymous.status_code == 302
    assert anonymous["Location"].startswith("/sign-in")
    assert client_of(teacher).put(url).status_code == 405
    if post:
        assert client_of(teacher).get(url).status_code == 405
    else:
        assert client_of(teacher).get(url).status_code == 200


def is_read_by_its_studio(
    url: str, client_of: Callable[[Teacher], Client], teacher: Teacher, colleague: Teacher, stranger: Teacher
) -> None:
    """The owner and a colleague are let in, a stranger gets 404, the anonymous are sent to sign in."""
    keeps_to_its_owner(url, client_of, teacher, (stranger,))
    assert client_of(colleague).get(url).status_code == 200, url
    assert client_of(colleague).put(url).status_code == 405, url
