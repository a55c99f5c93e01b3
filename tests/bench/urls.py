"""The service's addresses and the bare views it is measured against."""

from django.urls import path

from core.urls import handler400, handler403, handler404, handler500
from core.urls import urlpatterns as own
from tests.bench import bare

__all__ = ["handler400", "handler403", "handler404", "handler500", "urlpatterns"]

urlpatterns = [
    path("bare/one-query", bare.one_query),
    path("bare/fifty", bare.fifty),
    path("bare/insert", bare.insert),
    *own,
]
