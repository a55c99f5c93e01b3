"""The workshop's tablets: which there are, and taking one back."""

from typing import ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.access import WORKSHOP_HEADS
from accounts.caller import Access, Caller
from accounts.pages.base import PageView
from accounts.selectors import device_for, devices_for
from accounts.services import device_revoke


class Devices(PageView):
    """Every tablet, those in use first."""

    access: ClassVar[dict[str, Access]] = {"GET": WORKSHOP_HEADS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """List them."""
        template = "accounts/devices.html"
        return self.page(request, caller, template, here="set_up", devices=devices_for(caller))


class DevicePage(PageView):
    """One tablet, and the question whether to take it back."""

    access: ClassVar[dict[str, Access]] = {"GET": WORKSHOP_HEADS, "POST": WORKSHOP_HEADS}

    def get(self, request: HttpRequest, caller: Caller, device_id: UUID) -> HttpResponse:
        """Show what taking it back means."""
        device = device_for(caller, device_id)
        return self.page(request, caller, "accounts/device.html", here="set_up", device=device)

    def post(self, request: HttpRequest, caller: Caller, device_id: UUID) -> HttpResponse:
        """Take it back, and end what was signed in on it."""
        device = device_revoke(device=device_for(caller, device_id))
        message = (
            f"{device.name} is no tablet of yours any more; whoever was signed in there is out."
        )
        return self.done(request, reverse("desk_devices"), message)
