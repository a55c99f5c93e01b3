"""Addresses of the tablet."""

from django.urls import path

from jobs.tablet import air, board, car, findings, paint
from jobs.tablet.worker import urlpatterns as worker

CAR = "tablet/cars/<uuid:job_id>"

urlpatterns = [
    path("tablet/", board.Board.as_view(), name="tablet"),
    path("tablet/climate", air.ClimatePage.as_view(), name="tablet_climate"),
    path(CAR, car.CarPage.as_view(), name="tablet_car"),
    path(f"{CAR}/finding", findings.FindingPage.as_view(), name="tablet_finding"),
    path(f"{CAR}/paint", paint.PaintPage.as_view(), name="tablet_paint"),
    *worker,
]
