"""Signing in, who am I, signing out."""

from typing import Any, ClassVar

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from drf_spectacular.utils import extend_schema
from rest_framework.authentication import BaseAuthentication
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api import examples
from accounts.api.base import ApiView
from accounts.api.outputs import OrganisationOutput, SessionOutput
from accounts.auth import sign_in
from accounts.caller import OPEN, Access, Caller, caller_of, either, people
from accounts.inputs import SignInInput
from accounts.selectors import organisation_of
from core.api.examples import answered, sent
from core.pages import forget_kept


def session_answer(request: HttpRequest, caller: Caller) -> Response:
    """Say who is calling; a person gets the token that their writes need."""
    shown = SessionOutput(
        name=caller.name,
        organisation=OrganisationOutput(organisation_of(caller)).data,
        side=caller.side,
        role=caller.role,
        person_id=caller.person_id,
        key_prefix=caller.key_prefix,
        scopes=sorted(caller.scopes),
        csrf_token=get_token(request) if caller.person_id else "",
    )
    return Response(shown, headers={"Cache-Control": "no-store"})


class Session(ApiView):
    """The sign-in of a person."""

    access: ClassVar[dict[str, Access | None]] = {
        "GET": either(None),
        "POST": OPEN,
        "DELETE": people(),
    }
    keeps_answers: ClassVar[bool] = False  # a sign-in answers with cookies, which are not kept
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = {"POST": ("401", "403", "429")}

    def get_authenticators(self) -> list[BaseAuthentication]:
        """Ask nobody who they are when they are about to say so."""
        signing_in = self.request is not None and self.request.method == "POST"
        return [] if signing_in else super().get_authenticators()

    @extend_schema(
        operation_id="session_read",
        tags=["session"],
        responses={200: SessionOutput},
        examples=[
            answered("A manager", examples.SESSION),
            answered("A key", examples.SESSION_OF_KEY),
        ],
    )
    def get(self, request: Request) -> Response:
        """Say who is calling and what they may do; for keys too."""
        return session_answer(plain(request), caller_of(request))

    @extend_schema(
        operation_id="session_start",
        tags=["session"],
        auth=[],
        request=SignInInput,
        responses={200: SessionOutput},
        examples=[
            sent("A manager", examples.SIGN_IN),
            answered("Signed in", examples.SESSION),
        ],
    )
    def post(self, request: Request) -> Response:
        """Sign a person in, by a cookie.

        A wrong password and an unknown person get the same 401; after eight wrong ones in a row
        from one address, 429 for a quarter of an hour. Systems send a key and need no sign-in.
        """
        values = self.read(SignInInput, request)
        caller = sign_in(plain(request), email=values["email"], password=values["password"])
        return session_answer(plain(request), caller)

    @extend_schema(operation_id="session_end", tags=["session"], responses={204: None})
    def delete(self, request: Request) -> HttpResponse:
        """Sign out; the browser forgets what it keeps."""
        logout(plain(request))
        return forget_kept(Response(status=204))


def plain(request: Request) -> HttpRequest:
    """Return Django's own request, which the session, CSRF and django-axes write on."""
    inner: Any = request._request  # noqa: SLF001  DRF has no public name for it
    assert isinstance(inner, HttpRequest)  # noqa: S101  narrows DRF's type
    return inner
