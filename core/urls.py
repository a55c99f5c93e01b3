"""Every address of the service."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import SpectacularJSONAPIView

from core import health
from core.documents import DocsView, ReferenceView

handler400 = "core.answers.bad_request"
handler403 = "core.answers.forbidden"
handler404 = "core.answers.not_found"
handler500 = "core.answers.internal"

urlpatterns: list[URLPattern | URLResolver] = [
    path("admin/", admin.site.urls),
    path("api/v1/", include("accounts.api.urls")),
    path("api/v1/", include("jobs.work.api.urls")),
    path("api/v1/", include("notifications.api.urls")),
    # First those that are polled: an address is looked for in this order.
    path("", include("jobs.dashboard.urls")),
    path("", include("jobs.tablet.urls")),
    path("", include("jobs.desk.urls")),
    path("", include("accounts.pages.urls")),
    path("", include("notifications.pages.urls")),
    path("api/openapi.json", SpectacularJSONAPIView.as_view(), name="schema"),
    path("api/docs", DocsView.as_view(url_name="schema"), name="docs"),
    path("api/reference", ReferenceView.as_view(url_name="schema"), name="reference"),
    path("healthz", health.live),
    path("readyz", health.ready),
    path("metrics", health.metrics),
]
