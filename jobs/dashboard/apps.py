"""The dealer's pages: the dashboard, and the link in an e-mail."""

from django.apps import AppConfig


class DashboardConfig(AppConfig):
    """Brings pages, templates, styles and scripts; it owns no table."""

    name = "jobs.dashboard"
    label = "dashboard"

    def ready(self) -> None:
        from accounts.navigation import (  # noqa: PLC0415  models can be imported only now
            Audience,
            Place,
            register_beginning,
            register_car_page,
            register_places,
        )

        register_places(
            Audience.DEALER,
            Place("dashboard", "Your cars", 10),
            Place("order_new", "Send a car", 20, here="order"),
        )
        register_beginning(Audience.DEALER, "dashboard")
        register_car_page(Audience.DEALER, "dashboard_car")
