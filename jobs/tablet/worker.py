"""What makes the tablet's pages an app that opens without network: its worker and its manifest.

Neither says anything about anybody, so both are open; a browser asks for them on its own.
"""

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Any, ClassVar
from uuid import UUID

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import path, reverse
from django.views import View

from accounts.caller import Access, Caller, Scope, workshops
from accounts.pages.device import TabletView
from jobs.work.selectors.jobs.jobs import history_of
from jobs.work.words.jobs.history import sentence

# What every page of the tablet is made of; the pages themselves are kept as they are opened.
KEPT = ("core/icon.svg", "core/look.css", "core/page.js")
OF_TABLET = "jobs/tablet"
ENDINGS = frozenset({".css", ".js", ".png", ".svg", ".html"})


@cache
def kept_files() -> tuple[tuple[str, Path], ...]:
    """Return the names and places of the files that the tablet keeps."""
    folder = found(f"{OF_TABLET}/tablet.js").parent
    names = [
        f"{OF_TABLET}/{file.name}" for file in sorted(folder.iterdir()) if file.suffix in ENDINGS
    ]
    return tuple((name, found(name)) for name in (*KEPT, *names))


def found(name: str) -> Path:
    """Return the place of a static file of ours."""
    place = finders.find(name)
    if not isinstance(place, str):
        raise FileNotFoundError(name)
    return Path(place)


@cache
def release() -> str:
    """Return what changes whenever one of the files does, so that a new release is fetched."""
    digest = hashlib.sha256()
    for name, place in kept_files():
        digest.update(name.encode() + b"\0" + place.read_bytes())
    return digest.hexdigest()[:16]


class WorkerScript(View):
    """The service worker."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest) -> HttpResponse:
        """Return it with the list of what it keeps."""
        about = {"release": release(), "files": [static(name) for name, _ in kept_files()]}
        response = render(
            request,
            "jobs/tablet/worker.js",
            {"about": json.dumps(about)},
            content_type="text/javascript; charset=utf-8",
        )
        response.headers["Cache-Control"] = "no-cache"
        # A worker has a policy of its own: it runs nothing else and asks nobody else.
        response.headers["Content-Security-Policy"] = (
            "default-src 'none'; script-src 'self'; connect-src 'self'"
        )
        return response


class Manifest(View):
    """What the tablet calls itself on its home screen."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest) -> HttpResponse:
        """Return the web app manifest (W3C)."""
        del request
        icons = [
            {"src": static(f"{OF_TABLET}/icon-{size}.png"), "sizes": f"{size}x{size}",
             "type": "image/png", "purpose": purpose}
            for size, purpose in ((192, "any"), (512, "any"), (512, "maskable"))
        ]  # fmt: skip
        manifest: dict[str, Any] = {
            "name": "Shutline tablet",
            "short_name": "Shutline",
            "description": "The cars in the workshop, with and without network.",
            "lang": "en-GB",
            "id": reverse("tablet"),
            "start_url": reverse("tablet"),
            "scope": reverse("tablet"),
            "display": "standalone",
            "background_color": "#f4f2ee",
            "theme_color": "#1d4b73",
            "icons": icons,
        }
        response = JsonResponse(manifest, content_type="application/manifest+json")
        response.headers["Cache-Control"] = "no-cache"
        return response


class Since(TabletView):
    """A part of the tablet's page: what happened to a car after a version of it."""

    access: ClassVar[dict[str, Access]] = {"GET": workshops(Scope.WORK)}

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID, version: int) -> HttpResponse:
        """Return the entries in sentences, oldest first."""
        entries = history_of(caller, job_id).filter(version__gt=version)
        sentences = [(entry, sentence(entry)) for entry in entries]
        return self.page(request, caller, "jobs/tablet/since.html", told=sentences)


urlpatterns = [
    path("tablet/worker.js", WorkerScript.as_view(), name="tablet_worker"),
    path("tablet/manifest.webmanifest", Manifest.as_view(), name="tablet_manifest"),
    path("tablet/cars/<uuid:job_id>/since/<int:version>", Since.as_view(), name="tablet_since"),
]
