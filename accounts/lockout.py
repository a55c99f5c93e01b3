"""The answer to too many wrong passwords."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from core.answers import problem_answer
from core.problems import TooManyRequests


def answer_locked_out(request: HttpRequest, *_: Any, **__: Any) -> HttpResponse:
    """Return 429 with the time to wait."""
    seconds = int(settings.AXES_COOLOFF_TIME * 3600)
    return problem_answer(
        request,
        TooManyRequests(
            "Too many wrong passwords for this person from here.",
            next_step=f"Wait {seconds // 60} minutes, then try again.",
            headers={"Retry-After": str(seconds)},
        ),
    )


def somebody(*_: Any, **__: Any) -> str:
    """Return how django-axes calls in the log whoever is locked out: no name, no address."""
    return "somebody"
