"""Addresses of the pages about people, dealers, keys and tablets."""

from django.urls import path

from accounts.pages import me, who
from accounts.pages.session import Home

urlpatterns = [
    path("keys", Home.as_view(), name="keys"),
    path("me", me.Me.as_view(), name="me"),
    path("me/pin", me.OwnPin.as_view(), name="me_pin"),
    path("me/password", me.OwnPassword.as_view(), name="me_password"),
    path("tablet/who", who.Who.as_view(), name="tablet_who"),
    path("tablet/make", who.MakeTablet.as_view(), name="tablet_make"),
]
