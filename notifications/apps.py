"""The notifications app."""

from django.apps import AppConfig


class NotificationsConfig(AppConfig):
    """The outbox and all that empties it."""

    name = "notifications"
