"""The notifications app."""

from django.apps import AppConfig


class NotificationsConfig(AppConfig):
    """The outbox and all that empties it."""

    name = "notifications"

    def ready(self) -> None:
        from notifications import probes  # noqa: PLC0415  models can be imported only now

        probes.register()
