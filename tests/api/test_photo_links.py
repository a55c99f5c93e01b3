"""Links of photographs: signed, ending, and of no use to another organisation."""

import hashlib
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
import time_machine
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from core.clock import now
from jobs.work.models import Photo, Rendition
from jobs.work.selectors.photographs import photo_links
from jobs.work.services.photographs.files import file_read, store
from tests.api.pictures import drawn, encoded, fetch, upload
from tests.api.steps import NOWHERE, arrived, done, refused
from tests.scene import Api, Scene, key_api, person_api

pytestmark = pytest.mark.django_db


@pytest.fixture
def photo(scene: Scene) -> Any:
    """Return a photograph of the dealer's car."""
    content = encoded(drawn((1600, 1200)))
    return done(upload(scene.workshop_api(), arrived(scene), content))


def changed(address: str, **changes: str | None) -> str:
    """Return the link with something in its query changed, or left out where None."""
    parts = urlsplit(address)
    query = {name: values[0] for name, values in parse_qs(parts.query).items()} | changes
    kept = {name: value for name, value in query.items() if value is not None}
    return parts._replace(query=urlencode(kept)).geturl()


@pytest.mark.parametrize("size", [320, 1280])
def test_a_link_gives_the_stored_bytes(scene: Scene, photo: Any, size: int) -> None:
    stored = Rendition.objects.get(photo_id=photo["id"], size=size)
    for api in (scene.dealer_api(), scene.workshop_api(), person_api(scene.staff)):
        answer = fetch(api, photo["links"][str(size)])
        assert answer.status_code == 200
        assert answer.content == file_read(stored)
        assert hashlib.sha256(answer.content).hexdigest() == stored.sha256


def test_a_link_is_served_so_that_only_its_caller_keeps_it(scene: Scene, photo: Any) -> None:
    answer = fetch(scene.dealer_api(), photo["links"]["320"], Accept="image/*")
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert answer.headers["Content-Length"] == str(len(answer.content))
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Disposition"] == f'inline; filename="{photo["id"]}-320.jpg"'
    assert answer.headers["ETag"] == f'"{hashlib.sha256(answer.content).hexdigest()}"'
    kept, seconds, unchanging = answer.headers["Cache-Control"].split(", ")
    assert (kept, unchanging) == ("private", "immutable")
    assert 167 * 3600 < int(seconds.removeprefix("max-age=")) <= 169 * 3600
    assert {"Authorization", "Cookie"} <= set(answer.headers["Vary"].split(", "))


def test_what_the_caller_has_is_not_sent_or_read_again(
    scene: Scene, photo: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    api, link = scene.dealer_api(), photo["links"]["320"]
    etag = fetch(api, link).headers["ETag"]
    monkeypatch.setattr(type(store()), "open", None)
    answer = fetch(api, link, **{"If-None-Match": etag})
    assert (answer.status_code, answer.content) == (304, b"")
    assert answer.headers["ETag"] == etag
    assert "private" in answer.headers["Cache-Control"]
    second_answer = fetch(key_api(scene.stranger_dealer), link, **{"If-None-Match": etag})
    refused(second_answer, 404)


def test_a_head_tells_what_a_get_would(scene: Scene, photo: Any) -> None:
    path = photo["links"]["320"].partition("/api/v1")[2]
    answer = scene.dealer_api().call("HEAD", path)
    assert (answer.status_code, answer.content) == (200, b"")
    assert answer.headers["Content-Type"] == "image/jpeg"


def test_a_link_costs_one_query_beside_the_keys(
    scene: Scene, photo: Any, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    api, link = scene.dealer_api(), photo["links"]["320"]
    fetch(api, link)
    with django_assert_num_queries(2):
        assert fetch(api, link).status_code == 200


def test_a_link_alone_is_not_enough(photo: Any) -> None:
    answer = fetch(Api(Client()), photo["links"]["320"])
    refused(answer, 401, "not-signed-in")
    assert b"\xff\xd8" not in answer.content  # nothing of a JPEG


STRANGE = {
    "as it is": {},
    "another signature": {"signature": "x"},
    "no signature": {"signature": None},
    "nothing": {"signature": None, "until": None},
    "expired": {"until": "1"},
}


@pytest.mark.parametrize("changes", STRANGE.values(), ids=STRANGE)
@pytest.mark.parametrize("who", ["dealer", "workshop"])
def test_a_link_is_nothing_to_another_organisation_whatever_its_signature(
    scene: Scene, photo: Any, who: str, changes: dict[str, str | None]
) -> None:
    stranger = key_api(scene.stranger_dealer if who == "dealer" else scene.stranger_workshop)
    link = photo["links"]["320"]
    nowhere = fetch(stranger, changed(link.replace(photo["id"], NOWHERE), **changes))
    there = fetch(stranger, changed(link, **changes))
    missing, problem = refused(nowhere, 404, "not-found"), refused(there, 404, "not-found")
    assert {**problem, "request_id": ""} == {**missing, "request_id": ""}
    assert there.headers.keys() == nowhere.headers.keys()


ALTERED: dict[str, dict[str, str | None]] = {
    "another signature": {"signature": "x"},
    "an empty signature": {"signature": ""},
    "a colon in it": {"signature": "a:b"},
    "not ASCII": {"signature": "\u00e9\U0001f697"},
    "no signature": {"signature": None},
    "a later end": {"until": "9999999999"},
    "an end that is none": {"until": "never"},
    "the end written otherwise": {"until": "\u0661"},
    "no end": {"until": None},
    "nothing": {"signature": None, "until": None},
}


@pytest.mark.parametrize("changes", ALTERED.values(), ids=ALTERED)
def test_an_altered_link_is_403_to_those_who_may_see_the_photograph(
    scene: Scene, photo: Any, changes: dict[str, str | None]
) -> None:
    answer = fetch(scene.dealer_api(), changed(photo["links"]["320"], **changes))
    assert "/photos gives a fresh link" in refused(answer, 403, "not-allowed")["next_step"]


def test_the_signature_of_one_size_or_photograph_is_none_of_another(
    scene: Scene, photo: Any
) -> None:
    api, job = scene.dealer_api(), Photo.objects.get().job
    second = done(upload(scene.workshop_api(), {"id": job.pk}))
    link = photo["links"]["320"]
    refused(fetch(api, link.replace("/320?", "/1280?")), 403)
    refused(fetch(api, link.replace(photo["id"], second["id"])), 403)
    assert fetch(api, second["links"]["320"]).status_code == 200


@pytest.mark.parametrize("size", ["640", "0320", "-320", "x", "320.jpg", "\u0663\u0662\u0660"])
def test_a_size_that_is_none_is_404(scene: Scene, photo: Any, size: str) -> None:
    answer = fetch(scene.dealer_api(), photo["links"]["320"].replace("/320?", f"/{size}?"))
    refused(answer, 404)
    assert b"\xff\xd8" not in answer.content  # nothing of a JPEG


def test_a_link_ends_when_it_says(scene: Scene, photo: Any) -> None:
    link = photo["links"]["320"]
    ends_at = datetime.fromisoformat(photo["expires_at"])
    assert 168 <= (ends_at - now()).total_seconds() / 3600 <= 169
    with time_machine.travel(ends_at - timedelta(seconds=2), tick=False):
        answer = fetch(person_api(scene.staff), link)
        assert answer.status_code == 200
        assert "max-age=2," in answer.headers["Cache-Control"]
    with time_machine.travel(ends_at + timedelta(seconds=1), tick=False):
        api = person_api(scene.staff)
        problem = refused(fetch(api, link), 410, "gone")
        assert "GET /api/v1/jobs/{job_id}/photos" in problem["next_step"]
        (fresh,) = done(api.get(f"/jobs/{Photo.objects.get().job_id}/photos"))["photos"]
        assert fetch(api, fresh["links"]["320"]).status_code == 200


def test_links_stay_the_same_within_an_hour_and_outlive_every_retry_of_a_notice(
    scene: Scene, photo: Any, settings: Any
) -> None:
    del scene, photo
    row = Photo.objects.get()
    with time_machine.travel("2027-03-01T09:00:00Z", tick=False) as traveller:
        first = photo_links(row)
        traveller.shift(3599)
        assert photo_links(row) == first
        traveller.shift(1)
        assert photo_links(row) != first
        left = (first["expires_at"] - now()).total_seconds()
        assert left == 168 * 3600  # at least what was set, and up to an hour more
    assert sum(settings.RETRY_SECONDS) < settings.PHOTO_LINK_HOURS * 3600


def test_the_time_that_links_work_is_a_setting(photo: Any, settings: Any) -> None:
    del photo
    settings.PHOTO_LINK_HOURS = 2
    settings.PUBLIC_URL = "https://shutline.example"
    shown = photo_links(Photo.objects.get())
    assert 2 * 3600 <= (shown["expires_at"] - now()).total_seconds() <= 3 * 3600
    assert shown["links"]["320"].startswith("https://shutline.example/api/v1/photos/")


def test_a_change_of_the_signing_key_ends_every_link_unless_the_old_one_is_kept(
    scene: Scene, photo: Any, settings: Any
) -> None:
    api, link, old = scene.dealer_api(), photo["links"]["320"], settings.SECRET_KEY
    settings.SECRET_KEY = "another key, as long as it has to be"
    refused(fetch(api, link), 403)
    settings.SECRET_KEY_FALLBACKS = [old]
    assert fetch(api, link).status_code == 200


def test_a_file_that_the_store_has_lost_is_503(scene: Scene, photo: Any) -> None:
    stored = Rendition.objects.get(photo_id=photo["id"], size=320)
    store().delete(stored.name)
    answer = fetch(scene.dealer_api(), photo["links"]["320"])
    refused(answer, 503, "unavailable")
    assert answer.headers["Retry-After"] == "5"
