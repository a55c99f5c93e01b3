"""Addresses of the sign-in, keys and trade accounts."""

from django.urls import path

from accounts.api import keys, session, trade_accounts

urlpatterns = [
    path("session", session.Session.as_view()),
    path("keys", keys.Keys.as_view()),
    path("keys/<str:prefix>", keys.KeyDetail.as_view()),
    path("trade-accounts", trade_accounts.TradeAccounts.as_view()),
    path("trade-accounts/<uuid:account_id>", trade_accounts.TradeAccountDetail.as_view()),
]
