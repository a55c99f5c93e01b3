"""Where photographs are kept: a folder or a bucket, written before the row and never left over."""

import hashlib
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import boto3
import pytest
from django.core.checks import Error
from django.core.files.base import ContentFile
from django.core.files.storage import storages
from django.db import DatabaseError
from moto.server import ThreadedMotoServer
from pytest_django import Settings

from core.checks import check_photo_store
from core.clock import now
from core.env import Environment
from jobs.retention.selectors.files import files_without_row, rows_without_file
from jobs.work.models import Photo, Rendition
from jobs.work.services.photographs import pairs
from jobs.work.services.photographs.files import file_read
from tests.api import planted
from tests.api.pictures import fetch, upload
from tests.api.steps import arrived, done, refused
from tests.scene import Scene

pytestmark = pytest.mark.django_db

BUCKET = "yard-photos"


def use(settings: Settings, url: str) -> None:
    """Keep photographs in the store that the address names, as SHUTLINE_PHOTO_STORE would."""
    env = Environment({"A": url})
    settings.STORAGES = {**settings.STORAGES, "photos": env.store("A", "x", Path("/unused"))}
    assert env.bad == []


@pytest.fixture
def folder(settings: Settings, tmp_path: Path) -> Path:
    use(settings, f"file://{tmp_path}/photos")
    return tmp_path / "photos"


@pytest.fixture(scope="module")
def moto() -> Iterator[str]:
    """Run a server that speaks S3 and return its address."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    yield f"http://{host}:{port}"
    server.stop()


@pytest.fixture
def bucket(moto: str, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "fernhollow")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "long enough to keep")
    monkeypatch.setenv("AWS_EC2_METADATA_DISABLED", "true")
    use(settings, f"s3://{BUCKET}?endpoint={moto}&region=us-east-1")
    made = boto3.resource("s3", endpoint_url=moto, region_name="us-east-1").create_bucket(
        Bucket=BUCKET
    )
    yield made
    made.objects.all().delete()
    made.delete()


def files(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def names() -> list[str]:
    return sorted(Rendition.objects.values_list("name", flat=True))


def test_a_folder_holds_what_the_rows_name(scene: Scene, folder: Path) -> None:
    api, job = scene.workshop_api(), arrived(scene)
    for moment in ("before", "after"):
        done(upload(api, job, planted.jpeg(), moment=moment, view="front"))
    assert files(folder) == names()
    assert len(files(folder)) == 6  # two photographs and their pair
    for name in files(folder):
        planted.assert_bare((folder / name).read_bytes())


def test_a_bucket_holds_what_the_rows_name(scene: Scene, bucket: Any) -> None:
    api, job = scene.workshop_api(), arrived(scene)
    photos = [
        done(upload(api, job, planted.jpeg(), moment=moment, view="front"))
        for moment in ("before", "after")
    ]
    kept = {stored.key: stored.get() for stored in bucket.objects.all()}
    assert sorted(kept) == names()
    for row in Rendition.objects.all():
        answer = kept[row.name]
        content = answer["Body"].read()
        assert hashlib.sha256(content).hexdigest() == row.sha256
        assert answer["ContentType"] == "image/jpeg"
        assert file_read(row) == content
        planted.assert_bare(content)
    answer = fetch(scene.dealer_api(), photos[0]["links"]["1280"])
    assert answer.status_code == 200
    planted.assert_bare(answer.content)


@pytest.mark.parametrize("kind", ["folder", "bucket"])
def test_nothing_in_a_store_is_overwritten(request: pytest.FixtureRequest, kind: str) -> None:
    request.getfixturevalue(kind)
    store = storages["photos"]
    first = store.save("abc/photo-320.jpg", ContentFile(b"one"))
    second = store.save("abc/photo-320.jpg", ContentFile(b"two"))
    assert first != second
    with store.open(first) as first_file, store.open(second) as second_file:
        assert (first_file.read(), second_file.read()) == (b"one", b"two")
    for name in (first, second):
        store.delete(name)
    with pytest.raises(FileNotFoundError):
        store.open(first).close()


def left_in(request: pytest.FixtureRequest, kind: str) -> list[str]:
    """Return what the store holds, looked at without the service's help."""
    place = request.getfixturevalue(kind)
    return files(place) if kind == "folder" else [stored.key for stored in place.objects.all()]


@pytest.mark.parametrize("kind", ["folder", "bucket"])
def test_what_is_given_up_leaves_neither_row_nor_file(
    request: pytest.FixtureRequest, scene: Scene, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    request.getfixturevalue(kind)
    api, job = scene.workshop_api(), arrived(scene)
    done(upload(api, job, moment="before", view="front"))
    before = left_in(request, kind)

    def fail(*_: Any) -> None:
        raise DatabaseError("the disk is full")

    monkeypatch.setattr(pairs, "side_by_side", fail)  # files of the second are there by now
    api.client.raise_request_exception = False
    answer = upload(api, job, moment="after", view="front")
    refused(answer, 500, "internal")
    assert left_in(request, kind) == before
    assert sorted(before) == names()
    assert Photo.objects.count() == 1
    monkeypatch.undo()


def test_the_files_are_there_before_any_row_names_them(
    scene: Scene, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[tuple[str, bool]] = []
    save = Photo.save

    def watched(photo: Photo, **options: Any) -> None:
        stored = [name for name in files(folder) if str(photo.pk) in name]
        seen.append((photo.moment, len(stored) == 2))
        save(photo, **options)

    monkeypatch.setattr(Photo, "save", watched)
    api, job = scene.workshop_api(), arrived(scene)
    for moment in ("before", "after"):
        done(upload(api, job, moment=moment, view="front"))
    assert seen == [("before", True), ("after", True), ("pair", True)]


def test_a_folder_that_cannot_be_written_in_is_503_and_leaves_no_row(
    scene: Scene, folder: Path
) -> None:
    api, job = scene.workshop_api(), arrived(scene)
    folder.rmdir()
    folder.touch()  # a file in its place
    refused(upload(api, job), 503, "unavailable")
    assert Photo.objects.count() == 0


def answers_nobody(settings: Settings, monkeypatch: pytest.MonkeyPatch, url: str) -> None:
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "fernhollow")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "long enough to keep")
    use(settings, url)


def test_a_bucket_that_does_not_answer_is_503_and_leaves_no_row(
    scene: Scene, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers_nobody(settings, monkeypatch, f"s3://{BUCKET}?endpoint=http://127.0.0.1:9&region=x")
    answer = upload(scene.workshop_api(), arrived(scene))
    refused(answer, 503, "unavailable")
    assert answer.headers["Retry-After"] == "5"
    assert Photo.objects.count() == 0


def test_a_bucket_that_is_not_there_is_503_and_leaves_no_row(
    scene: Scene, moto: str, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers_nobody(settings, monkeypatch, f"s3://no-such-yard?endpoint={moto}&region=us-east-1")
    refused(upload(scene.workshop_api(), arrived(scene)), 503, "unavailable")
    assert Photo.objects.count() == 0


def test_a_bucket_without_its_libraries_is_named_by_the_checks(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    use(settings, f"s3://{BUCKET}")
    assert list(check_photo_store(None)) == []
    monkeypatch.setattr("core.checks.find_spec", lambda name: None if name == "boto3" else name)
    (error,) = check_photo_store(None)
    assert isinstance(error, Error)
    assert error.id == "core.E035"
    assert "boto3" in error.msg
    assert "shutline[s3]" in str(error.hint)
    use(settings, "file:///tmp")
    assert list(check_photo_store(None)) == []


@pytest.mark.parametrize("place", ["folder", "bucket"])
def test_a_file_that_no_row_names_is_found_in_either_store(
    scene: Scene, place: str, request: pytest.FixtureRequest
) -> None:
    request.getfixturevalue(place)
    job = arrived(scene)
    done(upload(scene.workshop_api(), job))
    loose = Rendition.objects.earliest("pk").name
    Rendition.objects.filter(name=loose).delete()
    store, folder = storages["photos"], loose.partition("/")[0]
    soon = now() + timedelta(minutes=1)
    assert [name for name, _ in files_without_row(store, folder, before=soon)] == [loose]
    assert files_without_row(store, folder, before=soon - timedelta(days=1)) == []
    empty = f"{(int(folder, 16) + 1) % 16**3:03x}"
    assert files_without_row(store, empty, before=soon) == []
    assert list(rows_without_file(store)) == []
    kept = names()[0]
    store.delete(kept)
    assert list(rows_without_file(store)) == [kept]
