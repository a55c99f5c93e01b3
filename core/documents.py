"""The pages that show the API: all they need comes from this service, nothing from elsewhere."""

from typing import Any

from django.http import HttpRequest, HttpResponseBase
from drf_spectacular.views import SpectacularRedocView, SpectacularSwaggerView

# Both libraries write their start and their styles into the page; what they may fetch is ours.
POLICY = (
    "default-src 'self'; "
    "script-src 'self' 'unsafe-inline'; "
    "style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data:; "
    "font-src 'self' data:; "
    "worker-src 'self' blob:; "
    "frame-ancestors 'none'"
)


class OwnContentOnly:
    """Sends the policy with the page."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer as the library does, with the policy added."""
        response: HttpResponseBase = super().dispatch(request, *args, **kwargs)  # type: ignore[misc]
        response.headers["Content-Security-Policy"] = POLICY
        return response


class DocsView(OwnContentOnly, SpectacularSwaggerView):
    """The API to try out."""


class ReferenceView(OwnContentOnly, SpectacularRedocView):
    """The API to read."""

    template_name = "core/reference.html"
