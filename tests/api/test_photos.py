"""Photographs of a job: uploaded once whatever is sent again, listed, and paired by view."""

import hashlib
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test.client import BOUNDARY
from PIL import Image
from pytest_django import DjangoAssertNumQueries

from core.clock import now
from core.ids import new_id
from jobs.work.models import Photo, Rendition
from jobs.work.services.photographs import photographs as service
from jobs.work.services.photographs.files import file_read, store
from tests.api import planted
from tests.api.forms import Form
from tests.api.pictures import decoded, drawn, encoded, fetch, form, upload
from tests.api.steps import (
    NOWHERE,
    arrived,
    at_once,
    done,
    fields,
    history,
    moved,
    posted,
    refused,
    told,
)
from tests.scene import Api, Scene, key_api, person_api

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(scene: Scene) -> Any:
    return arrived(scene)


@pytest.fixture
def api(scene: Scene) -> Api:
    return scene.workshop_api()


def listed(api: Api, job: Any) -> list[Any]:
    """Return the job's photographs."""
    return list(done(api.get(f"/jobs/{job['id']}/photos"))["photos"])


def sent(api: Api, job: Any, body: Form, **headers: str) -> Any:
    """Post a body as it is."""
    kind = {"Content-Type": body.content_type}
    return api.post(f"/jobs/{job['id']}/photos", body.content, {**headers, **kind})


def test_a_photograph_is_kept_with_what_was_told(scene: Scene, api: Api, job: Any) -> None:
    content = encoded(drawn((1600, 1200)))
    taken = now() - timedelta(hours=2)
    answer = upload(
        api,
        job,
        content,
        client_id=(client_id := str(new_id())),
        moment="before",
        view="left_side",
        area="left_rear_door",
        caption="Dent below the handle",
        occurred_at=taken.isoformat(),
    )
    assert answer.status_code == 201
    photo = answer.json()
    assert photo["client_id"] == client_id
    assert (photo["moment"], photo["view"], photo["area"]) == (
        "before",
        "left_side",
        "left_rear_door",
    )
    assert photo["caption"] == "Dent below the handle"
    assert photo["sha256"] == hashlib.sha256(content).hexdigest()
    assert (photo["format"], photo["width"], photo["height"]) == ("JPEG", 1600, 1200)
    assert photo["taken_at"] == taken.isoformat().replace("+00:00", "Z")
    assert (photo["before_id"], photo["after_id"]) == (None, None)
    assert photo["actor"].startswith("tests")
    assert list(photo["links"]) == ["320", "1280"]
    assert listed(api, job) == [photo]
    assert listed(scene.dealer_api(), job) == [photo]


def test_what_is_stored_is_written_down_with_each_size(api: Api, job: Any) -> None:
    photo = done(upload(api, job, encoded(drawn((1600, 1200)))))
    rows = list(Rendition.objects.filter(photo_id=photo["id"]).order_by("size"))
    assert [(row.size, row.width, row.height) for row in rows] == [
        (320, 320, 240),
        (1280, 1280, 960),
    ]
    for row in rows:
        content = file_read(row)
        assert (len(content), hashlib.sha256(content).hexdigest()) == (row.length, row.sha256)
        assert decoded(content).size == (row.width, row.height)


@pytest.mark.parametrize("kind", ["jpeg", "png", "webp", "heic"])
def test_no_stored_size_holds_anything_but_pixels(api: Api, job: Any, kind: str) -> None:
    content = getattr(planted, kind)()
    assert planted.MARK in content
    photo = done(upload(api, job, content, caption="what the valeter wrote"))
    rows = Rendition.objects.filter(photo_id=photo["id"])
    assert rows.count() == 2
    for row in rows:
        planted.assert_bare(file_read(row))


def test_a_png_that_is_called_a_jpeg_is_taken_for_what_it_is(api: Api, job: Any) -> None:
    assert done(upload(api, job, encoded(kind="PNG"), name="photo.jpg"))["format"] == "PNG"


def test_a_car_that_is_not_here_is_not_photographed(scene: Scene, api: Api) -> None:
    job = posted(scene.dealer_api())
    problem = refused(upload(api, job), 409, "refused")
    assert problem["code"] == "not_arrived"
    job = done(api.post(f"/jobs/{job['id']}/arrival"))
    done(upload(api, job))
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    done(upload(api, job))  # it still stands here
    done(api.post(f"/jobs/{job['id']}/collection", {"confirm": True}))
    problem = refused(upload(api, job), 409, "refused")
    assert problem["code"] == "collected"
    assert len(listed(api, job)) == 2


def test_a_photograph_tells_nobody_and_changes_no_version(api: Api, job: Any) -> None:
    events, entries = told(job), history(api, job)
    done(upload(api, job))
    assert (told(job), history(api, job)) == (events, entries)
    assert done(api.get(f"/jobs/{job['id']}"))["version"] == job["version"]


def test_the_same_upload_again_is_the_photograph_kept(api: Api, job: Any) -> None:
    body = form(moment="before", view="front")
    first, again = sent(api, job, body), sent(api, job, body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert len(listed(api, job)) == 1
    assert Rendition.objects.count() == 2
    done(api.post(f"/jobs/{job['id']}/collection", {"reason": "Sold.", "confirm": True}))
    assert sent(api, job, body).status_code == 200  # the answer was lost, and the car is gone


def test_other_bytes_under_the_same_client_id_are_a_409_with_what_stands(
    api: Api, job: Any
) -> None:
    client_id = str(new_id())
    first = done(upload(api, job, client_id=client_id, caption="the first"))
    answer = upload(api, job, encoded(drawn(colour=(1, 2, 3))), client_id=client_id)
    problem = refused(answer, 409, "conflict")
    assert problem["current"]["id"] == first["id"]
    assert problem["current"]["caption"] == "the first"
    assert problem["current"]["sha256"] == first["sha256"]
    assert "client_id" in problem["next_step"]
    assert listed(api, job) == [first]


def test_a_client_id_is_of_one_job_only(scene: Scene, api: Api, job: Any) -> None:
    second_job = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    body = form()
    assert sent(api, job, body).status_code == 201
    assert sent(api, second_job, body).status_code == 201


@pytest.mark.parametrize("who", ["key", "person"])
def test_an_upload_under_an_idempotency_key_is_answered_once(
    scene: Scene, job: Any, who: str
) -> None:
    api = scene.workshop_api() if who == "key" else person_api(scene.valeter)
    body, key = form(), {"Idempotency-Key": str(new_id())}
    first, again = sent(api, job, body, **key), sent(api, job, body, **key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.content == again.content
    refused(sent(api, job, form(), **key), 422, "idempotency-key-reused")
    assert len(listed(api, job)) == 1


def test_a_form_made_anew_under_its_idempotency_key_is_the_same_upload(api: Api, job: Any) -> None:
    body, under = form(client_id=str(new_id())), {"Idempotency-Key": "shot-1"}
    again = Form(
        body.content.replace(b"shutline-tests-boundary", b"another-boundary"),
        "multipart/form-data; boundary=another-boundary",
    )
    first = sent(api, job, body, **under)
    second = sent(api, job, again, **under)
    assert (first.status_code, second.status_code) == (201, 201)
    assert second.content == first.content
    assert len(listed(api, job)) == 1
    refused(sent(api, job, form(), **under), 422)
    content = encoded(drawn(colour=(1, 2, 3)))
    refused(sent(api, job, form(content, client_id=first.json()["client_id"]), **under), 422)


@pytest.mark.django_db(transaction=True)
def test_two_uploads_of_one_photograph_at_once_are_one(scene: Scene) -> None:
    job, body, api = arrived(scene), form(), scene.workshop_api()
    answers = at_once(*[lambda: sent(api, job, body) for _ in range(4)])
    assert sorted(answer.status_code for answer in answers) == [200, 200, 200, 201]
    assert len({answer.json()["id"] for answer in answers}) == 1
    assert (Photo.objects.count(), Rendition.objects.count()) == (1, 2)


WRONG = {
    "file": ["", "text and no file"],
    "client_id": ["", "seven", "\u0000"],
    "moment": ["", "pair", "during", "BEFORE"],
    "view": ["top", "\u0000"],
    "area": ["roof_rack", "before"],
    "caption": ["x" * 201, "a\u0000b"],
    "occurred_at": ["yesterday", "2027-03-01T09:30:00", "2001-01-01T00:00:00Z", "9999"],
    "colur": ["grey"],
}


@pytest.mark.parametrize(
    ("name", "value"), [(name, value) for name in WRONG for value in WRONG[name]]
)
def test_a_wrong_field_is_named(api: Api, job: Any, name: str, value: str) -> None:
    wrong_field: Any = {name: value}
    assert fields(upload(api, job, **wrong_field)) == [name]


def test_every_wrong_field_is_named_at_once(api: Api, job: Any) -> None:
    answer = upload(
        api, job, moment="before", file=None, client_id="x", area="y", occurred_at="z", colur="grey"
    )
    assert sorted(fields(answer)) == ["area", "client_id", "colur", "file", "occurred_at", "view"]


@pytest.mark.parametrize("moment", ["before", "after"])
def test_a_before_or_an_after_needs_its_view(api: Api, job: Any, moment: str) -> None:
    assert fields(upload(api, job, moment=moment)) == ["view"]
    done(upload(api, job, moment="detail"))


@pytest.mark.parametrize(
    "content",
    [b"", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"PK\3\4", encoded()[:900]],
    ids=["empty", "SVG", "zip", "truncated"],
)
def test_what_is_no_picture_is_a_400_that_names_the_file(
    api: Api, job: Any, content: bytes
) -> None:
    answer = upload(api, job, content)
    assert fields(answer) == ["file"]
    assert listed(api, job) == []


def part(name: str, value: bytes, more: bytes = b"") -> bytes:
    """Return one part of a form, as bytes."""
    head = b'Content-Disposition: form-data; name="' + name.encode() + b'"' + more
    return b"--" + BOUNDARY.encode() + b"\r\n" + head + b"\r\n\r\n" + value + b"\r\n"


END = b"--" + BOUNDARY.encode() + b"--\r\n"
MULTIPART = f"multipart/form-data; boundary={BOUNDARY}"


@pytest.mark.parametrize(
    "body",
    [
        Form(b"", MULTIPART),
        Form(b"nonsense", MULTIPART),
        Form(part("moment", b"detail"), MULTIPART),  # it ends before its end
        Form(part("moment", b"detail") * 2 + END, MULTIPART),
        Form(part("file", b"x") + part("file", b"y", b'; filename="a.jpg"') + END, MULTIPART),
        Form(part("file", b"y", b'; filename="a.jpg"') * 101 + END, MULTIPART),
        Form(b"".join(part(f"f{n}", b"") for n in range(1100)) + END, MULTIPART),
        Form(part("caption", b"caf\xe9") + END, MULTIPART),
        Form(part("file", encoded(), b'; filename=""') + END, MULTIPART),
        Form(part("caption", b"x" * 100_000) + END, MULTIPART),
        Form(part("caption", b"eA==\r\nContent-Transfer-Encoding: base64") + END, MULTIPART),
        Form(part("moment", b"detail") + END, "multipart/form-data"),
        Form(part("moment", b"detail") + END, "multipart/form-data; boundary="),
        Form(part("moment", b"detail") + END, "multipart/form-data; boundary=caf\u00e9"),
        Form(part("moment", b"detail") + END, MULTIPART + "; charset=hex"),
    ],
    ids=range(15),
)
@pytest.mark.parametrize("once", [False, True])
def test_a_form_that_cannot_be_used_is_a_400(api: Api, job: Any, body: Form, once: bool) -> None:  # noqa: FBT001  a parameter of the test
    headers = {"Idempotency-Key": str(new_id())} if once else {}
    refused(sent(api, job, body, **headers), 400, "invalid-request")
    assert not Photo.objects.exists()


def named(name: bytes) -> Form:
    """Return an upload whose file has this name."""
    beginning = part("client_id", str(new_id()).encode()) + part("moment", b"detail")
    file = part("file", encoded(), b'; filename="' + name + b'"')
    return Form(beginning + file + END, MULTIPART)


@pytest.mark.parametrize(
    "name", [b"../../etc/passwd", b"/dev/null", b"C:\\photo.exe", b"x" * 900, b"a"]
)
def test_the_name_of_a_file_means_nothing(api: Api, job: Any, name: bytes) -> None:
    photo = done(sent(api, job, named(name)))
    names = sorted(row.name for row in Rendition.objects.all())
    folder = photo["id"].replace("-", "")[-3:]
    assert names == [f"{folder}/{photo['id']}-{size}.jpg" for size in ("1280", "320")]


@pytest.mark.parametrize("name", [b".", b"..", b"\xff.jpg"])
def test_a_file_without_a_name_is_no_file(api: Api, job: Any, name: bytes) -> None:
    assert fields(sent(api, job, named(name))) == ["file"]


def test_another_type_of_body_is_415_that_names_the_one_read(api: Api, job: Any) -> None:
    problem = refused(api.post(f"/jobs/{job['id']}/photos", {}), 415, "wrong-content-type")
    assert "multipart/form-data" in problem["next_step"]
    assert "json" not in problem["next_step"]


@pytest.mark.parametrize("once", [False, True])
def test_a_large_picture_is_taken_up_to_the_limit(
    api: Api,
    job: Any,
    settings: Any,
    once: bool,  # noqa: FBT001  a parameter of the test
) -> None:
    headers = {"Idempotency-Key": str(new_id())} if once else {}
    large = encoded() + bytes(6 * 2**20)  # JPEG readers stop at the picture's end
    assert sent(api, job, form(large), **headers).status_code == 201
    settings.PHOTO_LIMIT_BYTES = 5 * 2**20
    problem = refused(sent(api, job, form(large), **headers), 413, "too-large")
    assert "5120 KiB" in problem["detail"]


def test_a_body_without_a_length_is_read_as_empty(api: Api, job: Any) -> None:
    body = form(bytes(3 * 2**20))
    answer = api.client.post(
        f"/api/v1/jobs/{job['id']}/photos",
        body.content,
        content_type=body.content_type,
        headers=api.headers,
        CONTENT_LENGTH="",
    )
    assert refused(answer, 400)["errors"]


def test_a_body_is_read_no_further_than_its_length(api: Api, job: Any) -> None:
    body = form()
    answer = api.client.post(
        f"/api/v1/jobs/{job['id']}/photos",
        body.content,
        content_type=body.content_type,
        headers=api.headers,
        CONTENT_LENGTH=str(len(body.content) - 500),
    )
    refused(answer, 400)
    assert not Photo.objects.exists()


def test_a_job_takes_only_so_many_photographs(
    api: Api, job: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "MOST_PHOTOS", 2)
    for _ in range(2):
        done(upload(api, job))
    assert refused(upload(api, job), 409, "refused")["code"] == "enough_photos"


def test_a_list_takes_as_many_queries_for_many_as_for_one(
    api: Api, job: Any, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for _ in range(3):
        done(upload(api, job))
    listed(api, job)  # the key's use is noted now, once a minute
    with django_assert_num_queries(4):  # key, job, photographs, renditions
        assert len(listed(api, job)) == 3


@pytest.mark.parametrize("who", ["dealer", "workshop"])
def test_strangers_are_told_that_there_is_no_job(scene: Scene, job: Any, who: str) -> None:
    stranger = key_api(scene.stranger_dealer if who == "dealer" else scene.stranger_workshop)
    missing = refused(stranger.get(f"/jobs/{NOWHERE}/photos"), 404)
    there = refused(stranger.get(f"/jobs/{job['id']}/photos"), 404)
    assert {**there, "request_id": ""} == {**missing, "request_id": ""}
    if who == "workshop":
        refused(upload(stranger, job), 404)


def pairs(photos: list[Any]) -> list[Any]:
    return [photo for photo in photos if photo["moment"] == "pair"]


@pytest.mark.parametrize("order", [("before", "after"), ("after", "before")])
def test_a_before_and_an_after_of_one_view_are_put_side_by_side(
    api: Api, job: Any, order: tuple[str, str]
) -> None:
    colours = {"before": (200, 0, 0), "after": (0, 0, 200)}
    made = {}
    for moment in order:
        content = encoded(Image.new("RGB", (1280, 960), colours[moment]), comment=planted.MARK)
        made[moment] = done(upload(api, job, content, moment=moment, view="front", area="bonnet"))
    (pair,) = pairs(listed(api, job))
    assert (pair["before_id"], pair["after_id"]) == (made["before"]["id"], made["after"]["id"])
    assert (pair["view"], pair["area"], pair["caption"]) == ("front", "bonnet", "")
    answer = fetch(api, pair["links"]["1280"])
    picture = decoded(answer.content)
    planted.assert_bare(answer.content)
    assert picture.width == 1280
    left = picture.getpixel((10, picture.height - 10))
    right = picture.getpixel((1270, picture.height - 10))
    assert (left[0] > 150, right[2] > 150) == (True, True)  # type: ignore[index]  # of a colour


def test_views_do_not_mix_and_details_are_not_paired(api: Api, job: Any) -> None:
    done(upload(api, job, moment="before", view="front"))
    done(upload(api, job, moment="after", view="back"))
    done(upload(api, job, moment="detail", view="front"))
    done(upload(api, job, moment="detail", view="back"))
    assert pairs(listed(api, job)) == []


def at(hours: int) -> str:
    return (now() - timedelta(hours=hours)).isoformat()


def test_the_newest_before_stands_beside_the_newest_after(api: Api, job: Any) -> None:
    def shot(moment: str, hours: int) -> str:
        return str(done(upload(api, job, moment=moment, view="front", occurred_at=at(hours)))["id"])

    before, after = shot("before", 9), shot("after", 5)
    assert len(pairs(listed(api, job))) == 1
    shot("before", 10)  # taken earlier, sent later: it changes nothing
    assert len(pairs(listed(api, job))) == 1
    newer = shot("after", 2)
    older, newest = pairs(listed(api, job))
    assert (older["before_id"], older["after_id"]) == (before, after)
    assert (newest["before_id"], newest["after_id"]) == (before, newer)


def test_an_upload_that_is_sent_again_makes_no_second_pair(api: Api, job: Any) -> None:
    done(upload(api, job, moment="before", view="front"))
    body = form(moment="after", view="front")
    assert [sent(api, job, body).status_code for _ in range(2)] == [201, 200]
    assert len(pairs(listed(api, job))) == 1


def test_the_completion_notice_carries_the_newest_pair_of_each_view(
    scene: Scene, api: Api, job: Any
) -> None:
    for view in ("engine_bay", "front"):
        for moment in ("before", "after", "after"):
            done(upload(api, job, encoded(drawn((640, 480))), moment=moment, view=view))
    moved(api, job, "cleaning", "ready")
    name, data = told(job)[-1]
    assert name == "job.ready"
    newest = {pair["view"]: pair for pair in pairs(listed(api, job))}
    assert [picture["view"] for picture in data["pictures"]] == ["front", "engine_bay"]
    for picture in data["pictures"]:
        assert picture["id"] == newest[picture["view"]]["id"]
        answer = fetch(scene.dealer_api(), picture["links"]["1280"])
        assert answer.status_code == 200


def test_a_car_without_pairs_is_ready_without_pictures(api: Api, job: Any) -> None:
    done(upload(api, job, moment="before", view="front"))
    moved(api, job, "cleaning", "ready")
    assert told(job)[-1][1]["pictures"] == []


def test_files_are_for_their_owner_only(api: Api, job: Any) -> None:
    photo = done(upload(api, job))
    for row in Rendition.objects.filter(photo_id=photo["id"]):
        path = Path(store().path(row.name))
        assert path.stat().st_mode & 0o777 == 0o600
        assert path.parent.stat().st_mode & 0o777 == 0o700
