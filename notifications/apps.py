"""The notifications app."""

from django.apps import AppConfig
from django.conf import settings

from core.api.enum_names import register_enum_names
from core.periodic import register_periodic
from core.queues import NOTICES, register_queue


class NotificationsConfig(AppConfig):
    """The outbox and all that empties it."""

    name = "notifications"

    def ready(self) -> None:
        from accounts.navigation import Audience, Place, register_places  # noqa: PLC0415  models can be imported only now
        from core.epoch import register_epoch_begun  # noqa: PLC0415  the same
        from notifications import numbers, probes  # noqa: PLC0415  the same
        from notifications.services.publish import feed_restored  # noqa: PLC0415  the same

        probes.register()
        numbers.register()
        register_epoch_begun(feed_restored)
        register_queue("notifications.tasks.*", NOTICES)
        register_periodic(
            "deliver-due",
            "notifications.tasks.deliver_due",
            seconds=float(settings.SWEEP_SECONDS),
            worthless_after=settings.SWEEP_SECONDS,
            sweep=True,
        )
        register_periodic("review-endpoints", "notifications.tasks.review_endpoints", seconds=60.0)
        register_places(Audience.DEALER, Place("notices", "Notices", 60))
        register_enum_names(
            {
                "DeliveryStateEnum": "notifications.models.Delivery.State",
                "EndpointStateEnum": "notifications.models.Endpoint.State",
                "OnOffEnum": ["on", "off"],
            }
        )
