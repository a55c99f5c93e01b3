"""The project's addresses, and one that fails."""

from django.http import HttpRequest, HttpResponse
from django.urls import path

from core.urls import handler400, handler403, handler404, handler500
from core.urls import urlpatterns as ours
from tests.reliability.faults import WORDS

__all__ = ["handler400", "handler403", "handler404", "handler500"]


def fail(request: HttpRequest, word: str) -> HttpResponse:
    """Fail with words that are nobody's business."""
    raise ValueError(f"{request.method} {word}: {WORDS}")


urlpatterns = [*ours, path("faulty/<str:word>", fail)]
