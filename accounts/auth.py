"""Finds out who is asking and whether they may: keys for systems, sign-ins for people."""

from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import Any

from django.contrib.auth import (
    BACKEND_SESSION_KEY,
    HASH_SESSION_KEY,
    SESSION_KEY,
    authenticate,
    login,
)
from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest
from django.utils.crypto import constant_time_compare
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import PermissionDenied
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from accounts.caller import Access, Caller, Side, name_by_ids, name_in_log
from accounts.models import ROLE_SCOPES, ApiKey, Device, Person
from accounts.proofs import SESSION_BY_PIN, note_password, require_proof
from accounts.selectors import SignedInRow, device_with, key_row, organisation_with_version
from accounts.services import pin_failures_forget
from accounts.services.devices import SESSION_DEVICE
from core.clock import now
from core.problems import InvalidRequest, NotAllowed, NotSignedIn

USE_NOTED_EVERY = timedelta(minutes=1)
SCHEME = "bearer"
BACKEND = "django.contrib.auth.backends.ModelBackend"
DEVICE_COOKIE = "shutline_device"
KEYS = ApiKey.objects.key_generator


def caller_for_key(header: str) -> Caller | None:
    """Return the caller behind an Authorization header, or None where it is not a Bearer one.

    One query. Raises NotSignedIn with the reason for a key that is unknown, revoked or expired.
    """
    scheme, _, presented = header.partition(" ")
    if scheme.lower() != SCHEME:
        return None
    presented = presented.strip()
    prefix = presented.partition(".")[0] if presented.isascii() else ""
    key = key_row(prefix=prefix, at=now(), noted_every=USE_NOTED_EVERY)
    if key is None or not KEYS.verify(presented, key.hashed_key):
        raise NotSignedIn("This key is not known here.")
    if key.revoked:
        raise NotSignedIn("This key was revoked.", next_step="Ask for a new key.")
    if key.expired:
        raise NotSignedIn("This key has expired.", next_step="Ask for a new key.")
    if key.maker_is_active is not None and not key.maker_is_active:
        raise NotSignedIn(
            "Whoever made this key does not sign in here any more.", next_step="Ask for a new key."
        )
    if key.use_to_note:
        ApiKey.objects.filter(prefix=key.prefix).update(last_used_at=now())
    caller = Caller(
        organisation_id=key.organisation_id,
        side=Side(key.side),
        scopes=scopes_within(key.scopes, key.maker_role),
        name=f"{key.name} ({key.organisation_name})",
        key_prefix=key.prefix,
        bound_to=key.maker_role or "",
        feed_version=key.ready_version,
        epoch=key.epoch,
    )
    name_in_log(caller)
    return caller


def scopes_within(scopes: Iterable[str], role: str | None) -> frozenset[str]:
    """Return the scopes of a key that whoever made it may use themselves; None: the operator."""
    held = frozenset(scopes)
    return held if role is None else held & ROLE_SCOPES.get(role, frozenset())


def caller_for_person(person: AbstractBaseUser) -> Caller:
    """Return the caller a signed-in person is. Raises NotAllowed for the operator."""
    if not isinstance(person, Person) or person.organisation_id is None:
        raise NotAllowed(
            "The operator works in /admin/ and belongs to no organisation.",
            next_step="Sign in as somebody of a dealer or a workshop.",
        )
    organisation, pages_version = organisation_with_version(person.organisation_id)
    person.organisation = organisation
    return Caller(
        organisation_id=organisation.pk,
        side=Side(organisation.kind),
        scopes=frozenset(ROLE_SCOPES.get(person.role, ())),
        name=person.name,
        person_id=person.pk,
        role=person.role,
        feed_version=organisation.ready_version,
        pages_version=pages_version,
    )


def caller_signed_in(row: SignedInRow, session: Mapping[str, Any]) -> Caller | None:
    """Return the caller of a sign-in as Django would find them, or None where it would find nobody.

    The row was read beside the person whom the browser named: whose sign-in it is, it says itself.
    """
    if session.get(SESSION_KEY) != str(row.person_id) or not row.is_active:
        return None
    if session.get(BACKEND_SESSION_KEY) != BACKEND:
        return None
    proof = Person(password=row.password).get_session_auth_hash()
    if not constant_time_compare(session.get(HASH_SESSION_KEY, ""), proof):
        return None
    return Caller(
        organisation_id=row.organisation_id,
        side=Side(row.side),
        scopes=frozenset(ROLE_SCOPES.get(row.role, ())),
        name=row.name,
        person_id=row.person_id,
        role=row.role,
        feed_version=row.ready_version,
        pages_version=row.pages_version,
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
        caller = caller_for_person(found[0])
        name_in_log(caller)
        return found[0], caller

    def enforce_csrf(self, request: Request) -> None:
        """Refuse a write that was not shown to come from our own page."""
        try:
            super().enforce_csrf(request)
        except PermissionDenied as error:
            raise NotAllowed(
                f"The request was not shown to come from our own page. {error.detail}",
                next_step="Send csrf_token of GET /api/v1/session in the X-CSRFToken header.",
            ) from error


def sign_in(request: HttpRequest, *, email: str, password: str) -> Caller:
    """Sign a person in to Django's session, under a new session id, and return the caller.

    Raises NotSignedIn, with the same words whether the person or the password is wrong, and
    NotAllowed for the operator. Wrong passwords are counted, and stopped, by django-axes.
    """
    person = authenticate(request, username=email.lower(), password=password)
    if not isinstance(person, Person):
        raise NotSignedIn(
            "The e-mail address or the password is not right.",
            next_step="Check both; somebody of your organisation or the operator can help.",
        )
    caller = caller_for_person(person)
    session_begin(request, person, by_pin=False)
    if person.pin_failures:
        pin_failures_forget(person=person)
    return caller


def session_begin(request: HttpRequest, person: Person, *, by_pin: bool) -> None:
    """Sign a person in under a new session, in which nothing of an earlier one stays.

    It notes on which tablet it began, so that it ends when the tablet is taken back.
    """
    request.session.flush()
    login(request, person, backend=BACKEND)
    name_by_ids(f"person:{person.pk}", person.organisation_id)
    if by_pin:
        request.session[SESSION_BY_PIN] = True
    else:
        note_password(request.session)
    if (device := device_of(request)) is not None:
        request.session[SESSION_DEVICE] = str(device.pk)


def device_of(request: HttpRequest) -> Device | None:
    """Return the workshop's tablet that this browser is, or None."""
    return device_with(request.COOKIES.get(DEVICE_COOKIE, ""))


def confirm_password(request: HttpRequest, *, person: Person, password: str) -> None:
    """Check the password of somebody who is signed in, and note when. Raises InvalidRequest.

    Wrong passwords are counted, and stopped, as at a sign-in.
    """
    if authenticate(request, username=person.email, password=password) != person:
        message = "That is not your password."
        raise InvalidRequest(message, errors=[{"field": "current", "message": message}])
    request.session.cycle_key()
    note_password(request.session)


class CallerMayDoThis(BasePermission):
    """Holds the caller against the view's `access` for the method."""

    def has_permission(self, request: Request, view: Any) -> bool:
        method = "GET" if request.method == "HEAD" else str(request.method)
        refuse_undeclared(view, method)
        access: Access | None = view.access.get(method)
        if access is None:
            return True
        if not isinstance(request.auth, Caller):
            raise NotSignedIn("This call needs a key or a sign-in.")
        require(request.auth, access)
        if request.auth.person_id is not None:
            require_proof(request._request)  # noqa: SLF001  DRF has no public name for it
        return True


def refuse_undeclared(view: Any, method: str) -> None:
    """Raise NotAllowed for a method that a view answers and says nobody for."""
    name = method.lower()
    if method not in view.access and name in view.http_method_names and hasattr(view, name):
        raise NotAllowed(
            "This call is closed: it does not say who may make it.",
            next_step="Tell the operator of the service.",
        )


def require(caller: Caller, access: Access) -> None:
    """Raise NotAllowed, naming what is missing, unless the caller fits."""
    if caller.side not in access.sides:
        wanted = " or ".join(sorted(access.sides))
        raise NotAllowed(
            f"This call is for a {wanted}; you are calling as a {caller.side}.",
            extra={"required_side": wanted},
        )
    if access.people_only and caller.person_id is None:
        raise NotAllowed(
            "This call is for people; a key cannot make it.",
            next_step="Sign in at /api/v1/session and make it as a person.",
        )
    role = caller.role if caller.person_id is not None else caller.bound_to
    if access.roles and (role or caller.person_id is not None) and role not in access.roles:
        wanted = " or ".join(sorted(access.roles))
        raise NotAllowed(
            f"This call is for the role {wanted}; yours is {role or 'not set'}.",
            extra={"required_role": wanted},
        )
    if access.scope is not None and not caller.may(access.scope):
        raise NotAllowed(
            f"This call needs the scope {access.scope}.",
            extra={"required_scope": access.scope},
        )
