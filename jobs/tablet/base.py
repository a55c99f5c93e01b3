"""What the tablet's pages share: who may see them, and how a car is named."""

from typing import ClassVar

from accounts.caller import Access, Scope, workshops
from accounts.pages.device import TabletView


class TabletPage(TabletView):
    """A page for whoever works on cars; whatever it changes, it changes over the API."""

    access: ClassVar[dict[str, Access]] = {"GET": workshops(Scope.WORK)}
