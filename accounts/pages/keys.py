"""The keys of an organisation's own systems: made, looked at, revoked."""

from datetime import timedelta
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.access import KEY_HOLDERS
from accounts.caller import Access, Caller, Scope
from accounts.models import SIDE_SCOPES, ApiKey
from accounts.pages.base import PageView
from accounts.pages.forms import FINE, OnceView, attempt
from accounts.pages.inputs import LASTS, KeyFormInput
from accounts.pages.me import own
from accounts.selectors import key_for, key_state, keys_for, organisation_of
from accounts.services import FreshKey, key_add, key_revoke
from accounts.services.keys import MAX_KEY_NAME_LENGTH
from core.clock import now
from core.forms import Field, PageForm

SCOPE_WORDS: dict[str, str] = {
    Scope.READ: "See cars and all that is noted about them",
    Scope.ORDER: "Send, change and cancel orders; answer requests",
    Scope.WORK: "Move cars on, do tasks, note findings",
    Scope.DECIDE: "Accept and decline orders",
    Scope.OVERRIDE: "Move a car on although it still cures or dries",
    Scope.NOTICES: "Set up where notices go",
    Scope.PRICES: "See prices",
    Scope.FLOW: "See where time goes",
    Scope.FORECAST: "Choose where the weather forecast comes from",
}
HOLDERS: dict[str, Access] = {"GET": KEY_HOLDERS, "POST": KEY_HOLDERS}


def shown(key: ApiKey) -> dict[str, Any]:
    """Return a key as the page tells of it."""
    words = [SCOPE_WORDS.get(scope, scope) for scope in key.scopes]
    return {"key": key, "state": key_state(key), "may": words}


def key_form(caller: Caller, **about: Any) -> PageForm:
    """Return the form of a key, with what one of this side may be allowed."""
    allowed = SIDE_SCOPES[caller.side]
    fields = (
        Field(
            "name",
            "System it is for",
            longest=MAX_KEY_NAME_LENGTH,
            required=True,
            hint="One key for each system, so that one can be revoked alone.",
        ),
        Field(
            "scopes",
            "What it may do",
            "checks",
            choices=[choice for choice in SCOPE_WORDS.items() if choice[0] in allowed],
            hint="No more than the system needs.",
        ),
        Field("lasts", "How long it works", "choice", choices=LASTS, value="365"),
    )
    return PageForm(KeyFormInput, fields, **about)


class Keys(PageView):
    """The organisation's keys: those that open something, then the others."""

    access: ClassVar[dict[str, Access]] = {"GET": KEY_HOLDERS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """List them."""
        rows = [shown(key) for key in keys_for(caller).order_by("-created")]
        return self.page(
            request,
            caller,
            "accounts/keys.html",
            here=here(caller),
            usable=[row for row in rows if row["state"] == "usable"],
            others=[row for row in rows if row["state"] != "usable"],
        )


class KeyNew(OnceView):
    """A key for a system."""

    access: ClassVar[dict[str, Access]] = HOLDERS

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the form."""
        return self.show(request, caller, key_form(caller))

    def show(
        self, request: HttpRequest, caller: Caller, form: PageForm, status: int = FINE
    ) -> HttpResponse:
        """Show the form, perhaps with what was wrong in it."""
        template = "accounts/key_new.html"
        return self.page(request, caller, template, here=here(caller), form=form, status=status)

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Make it, and show it this once."""

        def add(values: dict[str, Any]) -> FreshKey:
            days = values.pop("lasts")
            expires_at = now() + timedelta(days=int(days)) if days else None
            return key_add(
                organisation=organisation_of(caller),
                expires_at=expires_at,
                made_by=own(caller),
                **values,
            )

        form = key_form(caller, typed=request.POST)
        fresh, status = attempt(form, add)
        if fresh is None:
            return self.show(request, caller, form, status)
        return self.shown_once(
            request,
            caller,
            secret=fresh.secret,
            here=here(caller),
            title=f"The key for {fresh.key.name}",
            what="The key, which the system sends as Authorization: Bearer",
            advice="Put it where only that system reads. Do not send it by e-mail.",
            back=reverse("keys"),
            back_words="To the keys",
        )


class KeyPage(PageView):
    """One key, and the question whether to revoke it."""

    access: ClassVar[dict[str, Access]] = HOLDERS

    def get(self, request: HttpRequest, caller: Caller, prefix: str) -> HttpResponse:
        """Show what revoking it means."""
        about = shown(key_for(caller, prefix))
        return self.page(request, caller, "accounts/key.html", here=here(caller), **about)

    def post(self, request: HttpRequest, caller: Caller, prefix: str) -> HttpResponse:
        """Revoke it for good."""
        key = key_revoke(key=key_for(caller, prefix))
        return self.done(request, reverse("keys"), f"Revoked: {key.name} opens nothing any more.")


def here(caller: Caller) -> str:
    """Return where the pages about keys stand in the caller's bar."""
    return "keys" if caller.side == "dealer" else "set_up"
