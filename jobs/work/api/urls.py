"""Addresses of work orders and jobs."""

from django.urls import URLPattern

from jobs.work.api import (
    air,
    catalogue,
    coats,
    curing,
    flow,
    holds,
    minutes,
    orders,
    paint,
    photographs,
    products,
    requests,
    stages,
    tasks,
    walk_rounds,
)
from jobs.work.api.findings import findings, phrases
from jobs.work.api.jobs import jobs, ready

urlpatterns: list[URLPattern] = [
    *orders.urlpatterns,
    *jobs.urlpatterns,
    *ready.urlpatterns,
    *stages.urlpatterns,
    *holds.urlpatterns,
    *tasks.urlpatterns,
    *catalogue.urlpatterns,
    *findings.urlpatterns,
    *phrases.urlpatterns,
    *walk_rounds.urlpatterns,
    *photographs.urlpatterns,
    *paint.urlpatterns,
    *requests.urlpatterns,
    *coats.urlpatterns,
    *air.urlpatterns,
    *curing.urlpatterns,
    *products.urlpatterns,
    *minutes.urlpatterns,
    *flow.urlpatterns,
]
