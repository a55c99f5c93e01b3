"""The tablet in the workshop."""

from django.apps import AppConfig


class TabletConfig(AppConfig):
    """Brings pages, templates, styles and scripts; it owns no table."""

    name = "jobs.tablet"
    label = "tablet"

    def ready(self) -> None:
        from accounts.navigation import (  # noqa: PLC0415  models can be imported only now
            Audience,
            Place,
            register_beginning,
            register_car_page,
            register_places,
            register_tablet_files,
        )

        register_places(Audience.BAY, Place("tablet", "Today's cars", 10, here="board"))
        register_places(Audience.VALETER, Place("tablet", "Tablet", 10))
        register_places(Audience.OFFICE, Place("tablet", "Tablet", 90))
        for audience in (Audience.VALETER, Audience.BAY):
            register_beginning(audience, "tablet")
        register_car_page(Audience.BAY, "tablet_car")
        register_tablet_files(
            "jobs/tablet/tablet.css", "jobs/tablet/queue.css", "jobs/tablet/tablet.js"
        )
