"""The tablet of a workshop: signed in once, and then shared by whoever works there."""

from accounts.pages.base import PageView


class TabletView(PageView):
    """The base of every page on the tablet."""
