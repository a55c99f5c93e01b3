"""Addresses of the pages about people, dealers, keys and tablets."""

from django.urls import path

from accounts.pages import dealers, devices, keys, me, people, who

urlpatterns = [
    path("desk/dealers", dealers.Dealers.as_view(), name="desk_dealers"),
    path("desk/dealers/new", dealers.DealerNew.as_view(), name="desk_dealer_new"),
    path("desk/dealers/<uuid:account_id>", dealers.DealerPage.as_view(), name="desk_dealer"),
    path(
        "desk/dealers/<uuid:account_id>/person",
        dealers.DealerPerson.as_view(),
        name="desk_dealer_person",
    ),
    path("desk/people", people.People.as_view(), name="desk_people"),
    path("desk/people/new", people.PersonNew.as_view(), name="desk_person_new"),
    path("desk/people/<uuid:person_id>", people.PersonPage.as_view(), name="desk_person"),
    path("desk/people/<uuid:person_id>/pin", people.PersonPin.as_view(), name="desk_person_pin"),
    path(
        "desk/people/<uuid:person_id>/password",
        people.PersonPassword.as_view(),
        name="desk_person_password",
    ),
    path("desk/tablets", devices.Devices.as_view(), name="desk_devices"),
    path("desk/tablets/<uuid:device_id>", devices.DevicePage.as_view(), name="desk_device"),
    path("keys", keys.Keys.as_view(), name="keys"),
    path("keys/new", keys.KeyNew.as_view(), name="key_new"),
    path("keys/<str:prefix>", keys.KeyPage.as_view(), name="key"),
    path("me", me.Me.as_view(), name="me"),
    path("me/pin", me.OwnPin.as_view(), name="me_pin"),
    path("me/password", me.OwnPassword.as_view(), name="me_password"),
    path("tablet/who", who.Who.as_view(), name="tablet_who"),
    path("tablet/make", who.MakeTablet.as_view(), name="tablet_make"),
]
