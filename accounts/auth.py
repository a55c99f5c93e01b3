"""Finds out who is asking and whether they may: keys for systems, sign-ins for people."""

from datetime import timedelta
from typing import Any

from django.contrib.auth.models import AnonymousUser
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from accounts.models import ROLE_SCOPES, ApiKey, Organisation, Person
from core.api.caller import Access, Caller, Side
from core.clock import now
from core.problems import NotAllowed, NotSignedIn

USE_NOTED_EVERY = timedelta(minutes=1)
SCHEME = "bearer"


def caller_for_key(header: str) -> Caller | None:
    """Return the caller behind an Authorization header, or None where it is not a Bearer one.

    One query. Raises NotSignedIn with the reason for a key that is unknown, revoked or expired.
    """
    scheme, _, presented = header.partition(" ")
    if scheme.lower() != SCHEME:
        return None
    prefix = presented.strip().partition(".")[0]
    key = _find(prefix) if prefix.isascii() and prefix.isalnum() else None
    if key is None or not key.is_valid(presented.strip()):
        raise NotSignedIn("This key is not known here.")
    moment = now()
    if key.revoked:
        raise NotSignedIn("This key was revoked.", next_step="Ask for a new key.")
    if key.expiry_date is not None and key.expiry_date <= moment:
        raise NotSignedIn(
            f"This key expired on {key.expiry_date:%Y-%m-%d}.", next_step="Ask for a new key."
        )
    if key.last_used_at is None or moment - key.last_used_at > USE_NOTED_EVERY:
        ApiKey.objects.filter(pk=key.pk).update(last_used_at=moment)
    organisation = key.organisation
    return Caller(
        organisation_id=organisation.pk,
        side=Side(organisation.kind),
        scopes=frozenset(key.scopes),
        name=f"{key.name} ({organisation.name})",
        key_prefix=key.prefix,
        feed_version=organisation.ready_version,
    )


def _find(prefix: str) -> ApiKey | None:
    return ApiKey.objects.select_related("organisation").filter(prefix=prefix).first()


def caller_for_person(person: Person, organisation: Organisation) -> Caller:
    """Return the caller a signed-in person is."""
    return Caller(
        organisation_id=organisation.pk,
        side=Side(organisation.kind),
        scopes=frozenset(ROLE_SCOPES.get(person.role, ())),
        name=person.name,
        person_id=person.pk,
        role=person.role,
        feed_version=organisation.ready_version,
    )


class KeyAuthentication(BaseAuthentication):
    """`Authorization: Bearer <key>`."""

    def authenticate(self, request: Request) -> tuple[AnonymousUser, Caller] | None:
        caller = caller_for_key(request.headers.get("Authorization", ""))
        return (AnonymousUser(), caller) if caller else None

    def authenticate_header(self, request: Request) -> str:
        del request
        return 'Bearer realm="Shutline"'


class PersonAuthentication(SessionAuthentication):
    """A person signed in with a cookie; writes need the CSRF token as well."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        found = super().authenticate(request)
        if found is None:
            return None
        person = found[0]
        if not isinstance(person, Person) or person.organisation is None:
            raise NotAllowed(
                "The operator works in /admin/ and belongs to no organisation.",
                next_step="Sign in as somebody of a dealer or a workshop.",
            )
        return person, caller_for_person(person, person.organisation)



class CallerMayDoThis(BasePermission):
    """Holds the caller against the view's `access` for the method."""

    def has_permission(self, request: Request, view: Any) -> bool:
        access: Access | None = getattr(view, "access", {}).get(str(request.method))
        if access is None:
            return True
        if not isinstance(request.auth, Caller):
            raise NotSignedIn("This call needs a key or a sign-in.")
        require(request.auth, access)
        return True


def require(caller: Caller, access: Access) -> None:
    """Raise NotAllowed, naming what is missing, unless the caller fits."""
    if caller.side not in access.sides:
        wanted = " or ".join(sorted(access.sides))
        raise NotAllowed(
            f"This call is for a {wanted}; you are calling as a {caller.side}.",
            extra={"required_side": wanted},
        )
    if access.scope is not None and not caller.may(access.scope):
        raise NotAllowed(
            f"This call needs the scope {access.scope}.",
            extra={"required_scope": access.scope},
        )
