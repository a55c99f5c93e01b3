"""Addresses of what a workshop sets up about its work."""

from django.urls import URLPattern, path

from jobs.work.pages.desk.catalogue import (
    SetUp,
    Shelf,
    ShelfEntry,
    ShelfHide,
    ShelfList,
    ShelfNew,
    ShelfRemove,
)
from jobs.work.pages.desk.catalogue_operations import Operations, Packages
from jobs.work.pages.desk.catalogue_phrases import Phrases


def _shelf(shelf: Shelf, place: str) -> list[URLPattern]:
    """Return the addresses of one shelf; `place` is what its code is called in them."""
    base, name = f"desk/{shelf.many}", f"desk_{shelf.one}"
    one = f"{base}/<str:{place}>"
    return [
        path(base, ShelfList.as_view(shelf=shelf), name=f"desk_{shelf.many}"),
        path(f"desk/new-{shelf.one}", ShelfNew.as_view(shelf=shelf), name=f"{name}_new"),
        path(one, ShelfEntry.as_view(shelf=shelf), name=name),
        path(f"{one}/hide", ShelfHide.as_view(shelf=shelf), name=f"{name}_hide"),
        path(f"{one}/remove", ShelfRemove.as_view(shelf=shelf), name=f"{name}_remove"),
    ]


urlpatterns: list[URLPattern] = [
    path("desk/set-up", SetUp.as_view(), name="desk_set_up"),
    *_shelf(Operations(), "operation_code"),
    *_shelf(Packages(), "package_code"),
    *_shelf(Phrases(), "code"),
]
