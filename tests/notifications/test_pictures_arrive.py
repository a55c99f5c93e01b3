"""Evidence reaches the dealer's system: a notice with links, and the pictures behind them."""

import hashlib
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from pytest_django.live_server_helper import LiveServer

from jobs.work.models import Rendition
from notifications.engine.run import deliver
from tests.api import planted
from tests.api.pictures import drawn, upload
from tests.api.steps import arrived, done, moved
from tests.notifications.receiver import Receiver
from tests.patience import PATIENCE_SECONDS
from tests.scene import Api, Scene, key_api, make_scene

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def public_url(settings: Any, live_server: LiveServer) -> None:
    """Make links lead to the server of the test."""
    settings.PUBLIC_URL = live_server.url


@pytest.fixture
def scene(live_server: LiveServer) -> Scene:
    del live_server
    return make_scene()


def got(address: str, api: Api) -> tuple[int, str, bytes]:
    """Fetch an address over HTTP with the caller's key; return status, type and body."""
    request = urllib.request.Request(address, headers=api.headers)  # noqa: S310  http, see the test
    try:
        with urllib.request.urlopen(request, timeout=PATIENCE_SECONDS) as answer:  # noqa: S310  the same
            return answer.status, answer.headers["Content-Type"], answer.read()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.headers["Content-Type"], error.read()


def listening(api: Api, receiver: Receiver, kind: str) -> str:
    """Add the dealer's endpoint and return its secret."""
    body = {"url": receiver.url("/stock"), "event_types": [kind]}
    return str(done(api.post("/webhook-endpoints", body))["secret"])


def on_the_disk(rendition: Rendition) -> bytes:
    """Return the stored bytes without the service's help."""
    folder = django_settings.STORAGES["photos"]["OPTIONS"]["location"]
    return (Path(folder) / rendition.name).read_bytes()


def notice_of(receiver: Receiver, secret: str) -> Any:
    """Deliver what is due and return the data of the one notice, its signature checked."""
    deliver()
    (received,) = receiver.wait_for(1, "/stock")
    return received.verify(secret)["data"]


def test_the_pictures_of_a_finding_reach_the_dealer_and_no_other(
    scene: Scene, receiver: Receiver
) -> None:
    dealer, workshop = scene.dealer_api(), scene.workshop_api()
    secret = listening(dealer, receiver, "finding.reported")
    job = arrived(scene)
    photos = [
        done(upload(workshop, job, planted.jpeg(6, drawn((1600, 1200), colour))))
        for colour in ((200, 0, 0), (0, 0, 200))
    ]
    finding = {
        "kind": "body_and_paint",
        "weight": "before_sale",
        "area": "left_rear_door",
        "noticed": "A dent the size of a coin below the handle.",
        "photo_ids": [photo["id"] for photo in photos],
    }
    done(workshop.post(f"/jobs/{job['id']}/findings", finding))
    pictures = notice_of(receiver, secret)["pictures"]
    assert [picture["id"] for picture in pictures] == finding["photo_ids"]
    stranger = key_api(scene.stranger_dealer)
    seen = set()
    for picture in pictures:
        for size, address in picture["links"].items():
            stored = Rendition.objects.get(photo_id=picture["id"], size=size)
            status, kind, content = got(address, dealer)
            assert (status, kind) == (200, "image/jpeg")
            assert content == on_the_disk(stored)
            assert hashlib.sha256(content).hexdigest() == stored.sha256
            planted.assert_bare(content)
            seen.add(stored.sha256)
            assert got(address, stranger)[0] == 404
            assert got(address, Api(dealer.client))[0] == 401
    assert len(seen) == 4


def test_the_pairs_in_the_completion_notice_reach_the_dealer_and_no_other(
    scene: Scene, receiver: Receiver
) -> None:
    dealer, workshop = scene.dealer_api(), scene.workshop_api()
    secret = listening(dealer, receiver, "job.ready")
    job = arrived(scene)
    for moment in ("before", "after"):
        done(upload(workshop, job, planted.heic(), moment=moment, view="front"))
    moved(workshop, job, "cleaning", "ready")
    (pair,) = notice_of(receiver, secret)["pictures"]
    assert (pair["moment"], pair["view"]) == ("pair", "front")
    for size, address in pair["links"].items():
        stored = Rendition.objects.get(photo_id=pair["id"], size=size)
        status, _, content = got(address, dealer)
        assert status == 200
        assert content == on_the_disk(stored)
        assert got(address, key_api(scene.stranger_dealer))[0] == 404
