"""Addresses of the tablet."""

from django.urls import path

from accounts.pages.session import Home
from jobs.pages.tablet import board, car
from jobs.pages.tablet.worker import urlpatterns as worker

urlpatterns = [
    path("tablet/", board.Board.as_view(), name="tablet"),
    path("tablet/cars/<uuid:job_id>", car.CarPage.as_view(), name="tablet_car"),
    *worker,
    path("tablet/cars/<uuid:job_id>/finding", Home.as_view(), name="tablet_finding"),
    path("tablet/cars/<uuid:job_id>/paint", Home.as_view(), name="tablet_paint"),
]
