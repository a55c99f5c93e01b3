"""Addresses of the air, and of what waits for it, as the desk sees them."""

from django.urls import URLPattern, path

from jobs.work.pages.desk.climate import DeskClimate, DeskClimateSetup
from jobs.work.pages.desk.clock_acts import TouchTest
from jobs.work.pages.desk.urls import CAR

urlpatterns: list[URLPattern] = [
    path("desk/climate", DeskClimate.as_view(), name="desk_climate"),
    path("desk/climate/set-up", DeskClimateSetup.as_view(), name="desk_climate_set_up"),
    path(
        f"{CAR}/clocks/<uuid:clock_id>/touch-test",
        TouchTest.as_view(),
        name="desk_touch_test",
    ),
]
