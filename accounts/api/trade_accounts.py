"""The trade accounts between a dealer and a workshop, seen from either side."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import WORKSHOP_HEADS
from accounts.api import examples
from accounts.api.base import ApiView
from accounts.api.outputs import TradeAccountOutput
from accounts.caller import Access, Scope, caller_of, either
from accounts.inputs import TradeAccountInput
from accounts.models import TradeAccount
from accounts.selectors import trade_account_for, trade_accounts_for
from accounts.services import trade_account_change
from core.api.examples import answered, sent


class TradeAccounts(ListAPIView[TradeAccount], ApiView):
    """Trade accounts, newest first."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}
    serializer_class = TradeAccountOutput
    queryset = TradeAccount.objects.none()  # for the schema only

    def get_queryset(self) -> QuerySet[TradeAccount]:
        """Return the caller's own trade accounts."""
        return trade_accounts_for(caller_of(self.request))

    @extend_schema(
        operation_id="trade_account_list",
        tags=["trade accounts"],
        examples=[answered("One account", examples.TRADE_ACCOUNT)],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the dealers of a workshop, or the workshops of a dealer."""
        return super().get(request, *args, **kwargs)


class TradeAccountDetail(ApiView):
    """One trade account."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ), "PATCH": WORKSHOP_HEADS}

    @extend_schema(
        operation_id="trade_account_read",
        tags=["trade accounts"],
        responses={200: TradeAccountOutput},
        examples=[answered("An account", examples.TRADE_ACCOUNT)],
    )
    def get(self, request: Request, account_id: UUID) -> Response:
        """Read one trade account."""
        account = trade_account_for(caller_of(request), account_id)
        return Response(TradeAccountOutput(account).data)

    @extend_schema(
        operation_id="trade_account_change",
        tags=["trade accounts"],
        request=TradeAccountInput,
        responses={200: TradeAccountOutput},
        examples=[
            sent("Ask me first", {"accepts_by_itself": False}),
            answered("Changed", {**examples.TRADE_ACCOUNT, "accepts_by_itself": False}),
        ],
    )
    def patch(self, request: Request, account_id: UUID) -> Response:
        """Set whether the dealer's orders are accepted by themselves; owner or manager only.

        Orders already posted keep the decision they have.
        """
        values = self.read(TradeAccountInput, request)
        account = trade_account_change(
            account=trade_account_for(caller_of(request), account_id),
            accepts_by_itself=values["accepts_by_itself"],
        )
        return Response(TradeAccountOutput(account).data)
