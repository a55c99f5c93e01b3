"""Addresses of the pages about people."""

from django.urls import path

from accounts.pages import people_urls, session

urlpatterns = [
    path("", session.Home.as_view(), name="home"),
    path("sign-in", session.SignIn.as_view(), name="sign_in"),
    path("sign-out", session.SignOut.as_view(), name="sign_out"),
    *people_urls.urlpatterns,
]
