"""Signing in and out, and the way from / to one's own pages."""

from typing import Any, ClassVar

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.debug import sensitive_post_parameters

from accounts.auth import device_of, sign_in
from accounts.caller import Access, Caller, people
from accounts.inputs import SignInInput
from accounts.navigation import audience_of, beginning_of
from accounts.pages.base import (
    SIGN_IN_FIELDS,
    PageView,
    nobody_any_more,
    safe_onward,
    see_other,
    sign_in_form,
)
from accounts.pages.device import changed_address, on_tablet
from core.forms import PageForm
from core.pages import forget_kept, with_page_headers
from core.problems import InvalidRequest, Problem


def own_pages(caller: Caller) -> str:
    """Return the address where the caller's day begins."""
    return reverse(beginning_of(audience_of(caller)))


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
        onward = request.POST.get("onward", "")
        form = PageForm(SignInInput, SIGN_IN_FIELDS, typed=request.POST)
        if not form.is_valid():
            return sign_in_form(request, status=InvalidRequest.status, form=form, onward=onward)
        try:
            caller = sign_in(request, **form.values)
        except Problem as problem:
            return sign_in_form(
                request, status=problem.status, problem=problem, form=form, onward=onward
            )
        to = safe_onward(onward, own_pages(caller))
        return nobody_any_more(request, see_other(changed_address(to) if on_tablet(to) else to))


class SignOut(PageView):
    """The way out."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": people()}

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """End the sign-in."""
        del caller
        logout(request)
        to = reverse("sign_in" if device_of(request) is None else "tablet_who")
        return forget_kept(see_other(to))
