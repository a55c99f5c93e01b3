"""Stands before every look at a password: who guesses too much is turned away unheard.

It is the first of Django's authentication backends, so that pages, API and the operator's sign-in
come past it alike; what was wrong and what was right it hears by Django's signals.
"""

from typing import Any

from django.contrib.auth.backends import BaseBackend
from django.contrib.auth.signals import user_logged_in, user_login_failed
from django.dispatch import receiver
from django.http import HttpRequest

from accounts.models import Person
from accounts.services import guess_wrong, guesses_check, place_note
from core.client_address import client_address


class GuessGuard(BaseBackend):
    """Knows nobody; lets a try through, or raises TooManyRequests."""

    def authenticate(
        self, request: HttpRequest | None, username: str | None = None, **_: Any
    ) -> None:
        """Raise TooManyRequests where no further try is taken."""
        if request is not None and username:
            guesses_check(email=username, address=client_address(request))


@receiver(user_login_failed)
def count_failure(
    sender: object, credentials: dict[str, Any], request: HttpRequest | None = None, **_: Any
) -> None:
    """Count a wrong password; one that was not looked at says nothing."""
    del sender
    if request is not None and not getattr(request, "axes_locked_out", False):
        guess_wrong(email=str(credentials.get("username", "")), address=client_address(request))


@receiver(user_logged_in)
def remember_place(
    sender: object, request: HttpRequest | None = None, user: object = None, **_: Any
) -> None:
    """Remember where somebody signed in."""
    del sender
    if request is not None and isinstance(user, Person):
        place_note(person_id=user.pk, address=client_address(request))
