"""The tablet of a workshop: signed in once, and then shared by whoever works there.

A good cookie makes a browser the workshop's tablet. There a person is found by their PIN, so that
nobody has to type a password with wet gloves on.
"""

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, QueryDict
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse

from accounts.auth import DEVICE_COOKIE, device_of
from accounts.caller import Caller
from accounts.models import Device
from accounts.navigation import Audience, beginning_of
from accounts.pages.base import UNKNOWN, PageView, safe_onward, wanted_page
from accounts.selectors import TABLET_LASTS, people_at

NO_STORE = "no-store, private"
# The tablet forgets the pages it keeps for the one before when it sees this in an address.
CHANGED = {"person": "changed"}
COOKIE_SECONDS = int(TABLET_LASTS.total_seconds())  # from the last sign-in there


class TabletView(PageView):
    """The base of every page on the tablet: there nobody signed in gives their PIN."""

    def ask_who(self, request: HttpRequest) -> HttpResponse:
        """Ask for a person and a PIN on the workshop's tablet, elsewhere for a sign-in."""
        device = device_of(request)
        if device is None:
            return super().ask_who(request)
        return who_page(request, device, status=UNKNOWN, onward=wanted_page(request))


def who_page(
    request: HttpRequest,
    device: Device | None,
    *,
    status: int = 200,
    caller: Caller | None = None,
    **about: Any,
) -> HttpResponse:
    """Show the workshop's people, and for the one who was chosen the field for their PIN."""
    get_token(request)
    response = render(
        request,
        "accounts/who.html",
        {
            "frame": "accounts/tablet.html" if caller else "core/page.html",
            "caller": caller,
            "device": device,
            "people": people_at(device.workshop) if device else (),
            **about,
        },
        status=status,
    )
    response.headers["Cache-Control"] = NO_STORE
    return response


def carry_secret(response: HttpResponse, secret: str) -> HttpResponse:
    """Set the cookie with the secret that makes a browser the workshop's tablet."""
    response.set_cookie(
        DEVICE_COOKIE,
        secret,
        max_age=COOKIE_SECONDS,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
    return response


def on_tablet(address: str) -> bool:
    """Return whether an address is that of a page on the tablet."""
    return safe_onward(address, "").startswith(reverse(beginning_of(Audience.BAY)))


def changed_address(onward: str) -> str:
    """Return where to go on to on the tablet, which there sees that the person has changed."""
    address, _, query = onward.partition("?")
    if not on_tablet(onward) or address == reverse("tablet_who"):
        address, query = reverse(beginning_of(Audience.BAY)), ""
    said = QueryDict(query, mutable=True)
    said.update(CHANGED)
    return f"{address}?{said.urlencode()}"
