"""What the pages with forms about people share: a try at the work, and what is shown once."""

from collections.abc import Callable
from typing import Any, TypeVar

from django.http import HttpRequest, HttpResponse

from accounts.caller import Caller
from accounts.pages.base import PageView
from accounts.pages.device import NO_STORE
from core.forms import PageForm
from core.problems import InvalidRequest, Problem

Made = TypeVar("Made")
FINE = 200


def attempt(form: PageForm, work: Callable[[dict[str, Any]], Made]) -> tuple[Made | None, int]:
    """Do the work with what was typed; return what it made and the status of the answer.

    Where nothing was made, the form says what is wrong and the status is that of the problem.
    """
    if not form.is_valid():
        return None, InvalidRequest.status
    try:
        return work(form.values), FINE
    except Problem as problem:
        form.add_problem(problem)
        return None, problem.status


class OnceView(PageView):
    """A page that may show a secret: once, in the answer that made it, and kept nowhere."""

    def shown_once(
        self, request: HttpRequest, caller: Caller, *, secret: str, **about: Any
    ) -> HttpResponse:
        """Answer with the secret; neither address nor cookie nor cache ever holds it."""
        response = self.page(request, caller, "accounts/once.html", secret=secret, **about)
        response.headers["Cache-Control"] = NO_STORE
        return response
