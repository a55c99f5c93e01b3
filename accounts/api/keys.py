"""Keys for an organisation's systems: made, listed and revoked by its people."""

from typing import Any, ClassVar

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import KEY_HOLDERS
from accounts.api import examples
from accounts.api.base import ApiView
from accounts.api.outputs import FreshKeyOutput, KeyOutput
from accounts.caller import Access, caller_of
from accounts.inputs import KeyInput
from accounts.models import ApiKey
from accounts.selectors import key_for, keys_for, organisation_of, person_for
from accounts.services import key_add, key_revoke
from core.api.examples import answered, sent
from core.api.paging import CursorPages


class KeyPages(CursorPages):
    """Newest first; a key's id does not sort by time."""

    ordering = "-created"


class Keys(ListAPIView[ApiKey], ApiView):
    """The keys of the caller's organisation."""

    access: ClassVar[dict[str, Access]] = {"GET": KEY_HOLDERS, "POST": KEY_HOLDERS}
    serializer_class = KeyOutput
    pagination_class = KeyPages
    queryset = ApiKey.objects.none()  # for the schema only

    def get_queryset(self) -> QuerySet[ApiKey]:
        """Return the caller's own keys."""
        return keys_for(caller_of(self.request))

    @extend_schema(
        operation_id="key_list", tags=["keys"], examples=[answered("One key", examples.KEY)]
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List keys, newest first, without their secrets; revoked and expired ones too."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="key_add",
        tags=["keys"],
        request=KeyInput,
        responses={201: FreshKeyOutput},
        examples=[
            sent("For a stock system", examples.NEW_KEY),
            answered("Made", examples.FRESH_KEY, 201),
        ],
    )
    def post(self, request: Request) -> Response:
        """Make a key; its secret is shown in this answer only.

        Owners and managers of a workshop and staff of a dealer make keys, with their password of
        the last ten minutes (else 403 password-needed); a key makes none. It never does more than
        whoever made it may themselves, and ends when they do not sign in here any more.
        """
        values = self.read(KeyInput, request)
        caller = caller_of(request)
        maker = person_for(caller, caller.person_id) if caller.person_id else None
        fresh = key_add(organisation=organisation_of(caller), made_by=maker, **values)
        shown = {**KeyOutput(fresh.key).data, "key": fresh.secret}
        return Response(shown, status=201, headers={"Location": f"/api/v1/keys/{fresh.key.prefix}"})


class KeyDetail(ApiView):
    """One key."""

    access: ClassVar[dict[str, Access]] = {"GET": KEY_HOLDERS, "DELETE": KEY_HOLDERS}

    @extend_schema(
        operation_id="key_read",
        tags=["keys"],
        responses={200: KeyOutput},
        examples=[answered("A key", examples.KEY)],
    )
    def get(self, request: Request, prefix: str) -> Response:
        """Read one key: what it may do, until when, and when it was last used."""
        return Response(KeyOutput(key_for(caller_of(request), prefix)).data)

    @extend_schema(operation_id="key_revoke", tags=["keys"], responses={204: None})
    def delete(self, request: Request, prefix: str) -> Response:
        """Revoke a key for good, from its next request on."""
        key_revoke(key=key_for(caller_of(request), prefix))
        return Response(status=204)
