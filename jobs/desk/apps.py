"""The workshop's desk."""

from django.apps import AppConfig


class DeskConfig(AppConfig):
    """Brings pages, templates, styles and scripts; it owns no table."""

    name = "jobs.desk"
    label = "desk"

    def ready(self) -> None:
        from accounts.navigation import (  # noqa: PLC0415  models can be imported only now
            Audience,
            Place,
            register_beginning,
            register_car_page,
            register_places,
            register_set_up,
        )

        register_places(
            Audience.OFFICE,
            Place("desk", "All cars", 10),
            Place("desk_waiting", "Waiting", 20, here="waiting"),
            Place("desk_due", "Due", 30, here="due"),
            Place("desk_flow", "Flow", 40, here="flow"),
            Place("desk_log", "Day's log", 50, here="log"),
            Place("desk_set_up", "Set up", 80, here="set_up"),
        )
        register_beginning(Audience.OFFICE, "desk")
        register_set_up("desk_set_up")
        for audience in (Audience.OFFICE, Audience.VALETER):
            register_car_page(audience, "desk_car")
