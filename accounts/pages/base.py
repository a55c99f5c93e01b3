"""The base of every page that knows who is looking: who may see it, and how it answers.

Nobody signed in gets the sign-in form at the same address (401), so that signing in leads on to
it; somebody who may not see it gets 403, and another organisation's car is the same 404 as none.
"""

from typing import Any, ClassVar

from django.conf import settings
from django.contrib import messages
from django.db import InterfaceError, OperationalError
from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    HttpResponseNotAllowed,
    HttpResponseRedirect,
)
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views import View

from accounts.auth import caller_for_person, confirm_password, refuse_undeclared, require
from accounts.caller import Access, Caller, name_in_log
from accounts.inputs import SignInInput
from accounts.models import Person
from accounts.proofs import require_proof
from core.api.errors import as_problem
from core.forms import Field, PageForm
from core.pages import PART, forget_kept, problem_page, with_page_headers
from core.problems import InvalidRequest, PasswordNeeded, Problem, WrongMethod
from core.request_lines import note_failure

SIGN_IN_FIELDS = (
    Field("email", "E-mail address", "email", autocomplete="username"),
    Field("password", "Password", "password", autocomplete="current-password"),
)
SEE_OTHER = 303
UNKNOWN = 401
OUR_FAULT = 500
PASSWORD_AGAIN = "password_again"  # noqa: S105  the name of a field
NOT_TYPED = frozenset({PASSWORD_AGAIN, "csrfmiddlewaretoken"})


class PageView(View):
    """A page: `access` says for each method what it asks of the caller, as ApiView's does.

    A page is for people who signed in, and a method without an entry is closed to them too.

    A subclass writes `get(request, caller, …)` and `post(request, caller, …)`.
    """

    access: ClassVar[dict[str, Access]] = {}
    http_method_names = ["get", "head", "post"]

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Find the caller, check the access, answer problems as pages, send the headers."""
        try:
            caller = self.known_caller(request)
            kept = None if caller is None else self.kept(request, caller)
            if caller is None:
                if not request.user.is_authenticated:
                    return with_page_headers(nobody_any_more(request, self.ask_who(request)))
                caller = caller_for_person(request.user)
                name_in_log(caller)
                asked = "GET" if request.method == "HEAD" else str(request.method)
                refuse_undeclared(self, asked)
                if (access := self.access.get(asked)) is not None:
                    require(caller, access)
                    if (problem := password_missing(request)) is not None:
                        return with_page_headers(password_form(request, problem))
            response = kept or super().dispatch(request, caller, *args, **kwargs)
        except (Problem, Http404, OperationalError, InterfaceError) as error:
            response = self.answer_problem(request, error)
        if "HX-Request" in request.headers:
            response.headers.setdefault("Cache-Control", PART)
        if isinstance(response, HttpResponse):
            with_page_headers(response)
        return response

    def known_caller(self, request: HttpRequest) -> Caller | None:
        """Return whoever was found in a quicker way, and may see the page; usually nobody."""
        del request
        return None

    def kept(self, request: HttpRequest, caller: Caller) -> HttpResponse | None:
        """Return 304 where the browser of a known caller has what it asks for."""
        del request, caller
        return None

    def ask_who(self, request: HttpRequest) -> HttpResponse:
        """Answer somebody who is not signed in; what shows no page is not gone on to."""
        wanted = wanted_page(request) if hasattr(self, "get") else ""
        return sign_in_form(request, status=UNKNOWN, onward=wanted)

    def http_method_not_allowed(
        self, request: HttpRequest, *args: Any, **kwargs: Any
    ) -> HttpResponseNotAllowed:
        """Answer with a page that this address is not one to look at, or to send forms to."""
        del args, kwargs
        answered = [name.upper() for name in self.http_method_names if hasattr(self, name)]
        raise WrongMethod(
            f"This address does not answer {request.method}.",
            next_step="Go back, or to your pages, and use a link or a button there.",
            headers={"Allow": ", ".join(answered)},
        )

    def answer_problem(self, request: HttpRequest, error: Exception) -> HttpResponse:
        """Show what went wrong and what to do next."""
        problem = as_problem(error)
        if problem.status >= OUR_FAULT:
            note_failure(request, error)
        return problem_page(request, problem)

    def page(
        self,
        request: HttpRequest,
        caller: Caller,
        template: str,
        *,
        status: int = 200,
        **about: Any,
    ) -> HttpResponse:
        """Render a template; it finds the `caller` beside what the page says."""
        return render(request, template, {"caller": caller, **about}, status=status)

    def done(self, request: HttpRequest, to: str, message: str = "") -> HttpResponse:
        """Go on to another page after a change, which says what was done."""
        if message:
            messages.success(request, message)
        return see_other(to)


def nobody_any_more(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Empty the caches of a browser whose sign-in ran out or was ended from elsewhere."""
    if settings.SESSION_COOKIE_NAME in request.COOKIES:
        forget_kept(response)
    return response


def password_missing(request: HttpRequest) -> Problem | None:
    """Return why the password is asked for before this page, or None.

    One that came along with what was typed is looked at first.
    """
    try:
        require_proof(request)
    except PasswordNeeded as needed:
        if request.method != "POST" or PASSWORD_AGAIN not in request.POST:
            return needed
        assert isinstance(request.user, Person)  # noqa: S101  narrows Django's type
        try:
            confirm_password(request, person=request.user, password=request.POST[PASSWORD_AGAIN])
        except InvalidRequest as wrong:
            return wrong
    return None


def password_form(request: HttpRequest, problem: Problem) -> HttpResponse:
    """Ask for the password, and go on from there: what was typed is sent along with it."""
    get_token(request)
    typed = [
        (name, value)
        for name, values in request.POST.lists()
        if name not in NOT_TYPED
        for value in values
    ]
    about = {"problem": problem, "typed": typed, "field": PASSWORD_AGAIN}
    return render(request, "accounts/password_again.html", about, status=UNKNOWN)


def see_other(to: str) -> HttpResponse:
    """Return the answer that has the browser GET another address."""
    response = HttpResponseRedirect(to)
    response.status_code = SEE_OTHER
    return response


def wanted_page(request: HttpRequest) -> str:
    """Return the address to go on to after a sign-in: a page, never a form sent without one."""
    return request.get_full_path() if request.method == "GET" else ""


def safe_onward(wanted: str, otherwise: str) -> str:
    """Return where somebody wanted to be, if that is a page of ours, else the other address."""
    ours = url_has_allowed_host_and_scheme(wanted, allowed_hosts=None)
    return wanted if ours and wanted.startswith("/") else otherwise


def sign_in_form(request: HttpRequest, *, status: int = 200, **about: Any) -> HttpResponse:
    """Show the sign-in; afterwards it goes on to where somebody wanted to be."""
    get_token(request)
    return render(
        request,
        "accounts/sign_in.html",
        {
            "form": PageForm(SignInInput, SIGN_IN_FIELDS),
            "onward": wanted_page(request) if status == UNKNOWN else "",
            **about,
        },
        status=status,
    )
