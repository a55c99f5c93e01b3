"""Signing in and out, and the way from / to one's own pages."""

from typing import Any, ClassVar

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.views import View
from django.views.decorators.debug import sensitive_post_parameters

from accounts.auth import sign_in
from accounts.models import Person
from accounts.pages.base import PageView, see_other, sign_in_form
from core.api.caller import Access, Caller, Side, people
from core.pages import with_page_headers
from core.problems import Problem


def own_pages(caller: Caller) -> str:
    """Return the address where the caller's day begins."""
    if caller.side is Side.DEALER:
        return reverse("dashboard")
    return reverse("tablet" if caller.role == Person.Role.VALETER else "desk")


class Home(PageView):
    """The address without a path."""

    access: ClassVar[dict[str, Access]] = {"GET": people()}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Go to one's own pages."""
        del request
        return see_other(own_pages(caller))


@method_decorator(sensitive_post_parameters("password"), name="dispatch")
class SignIn(View):
    """The sign-in form at its own address."""

    http_method_names = ["get", "head", "post"]

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Send the headers with every answer."""
        return with_page_headers(super().dispatch(request, *args, **kwargs))  # type: ignore[arg-type]

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show the form."""
        return sign_in_form(request)

    def post(self, request: HttpRequest) -> HttpResponse:
        """Sign somebody in, under a new session, and go on to where they wanted to be."""
        email, onward = request.POST.get("email", "").strip(), request.POST.get("onward", "")
        try:
            caller = sign_in(request, email=email, password=request.POST.get("password", ""))
        except Problem as problem:
            return sign_in_form(
                request, status=problem.status, problem=problem, email=email, onward=onward
            )
        here = url_has_allowed_host_and_scheme(onward, allowed_hosts=None)
        return see_other(onward if here and onward.startswith("/") else own_pages(caller))


class SignOut(PageView):
    """The way out."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": people()}

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """End the sign-in."""
        del caller
        logout(request)
        return see_other(reverse("sign_in"))
