"""The tablet's worker, its manifest, and what happened to a car since a version."""

import json
import re
from io import BytesIO
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from PIL import Image
from pytest_django import DjangoAssertNumQueries

from jobs.tablet import worker
from tests.api.steps import arrived, detail, done
from tests.scene import Scene, person_api

LOADED = re.compile(r'(?:href|src)="(/static/[^"]+)"')
MOST_QUERIES = 5


def since(scene: Scene, job: dict[str, str], version: int) -> str:
    """Return what the valeter is told."""
    answer = person_api(scene.valeter).client.get(f"/tablet/cars/{job['id']}/since/{version}")
    assert answer.status_code == 200
    return str(answer.content.decode())


@pytest.fixture
def client() -> Client:
    """Return somebody who is not signed in."""
    return Client()


def files_kept(client: Client) -> list[str]:
    """Return the files that the worker keeps."""
    script = client.get("/tablet/worker.js").content.decode()
    about = re.search(r'const ABOUT = JSON.parse\("(.*?)"\);', script)
    assert about
    kept: list[str] = json.loads(about[1].encode().decode("unicode_escape"))["files"]
    return kept


def test_the_worker_is_a_script_that_is_looked_at_anew_each_time(client: Client) -> None:
    answer = client.get("/tablet/worker.js")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/javascript; charset=utf-8"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert "Set-Cookie" not in answer.headers


def test_the_worker_keeps_every_file_that_the_tablets_pages_load(
    client: Client, scene: Scene
) -> None:
    job = arrived(scene)
    kept = files_kept(client)
    tablet = person_api(scene.valeter).client
    for path in ("", f"cars/{job['id']}", f"cars/{job['id']}/finding", f"cars/{job['id']}/paint"):
        answer = tablet.get(f"/tablet/{path}")
        assert answer.status_code == 200
        loaded = LOADED.findall(answer.content.decode())
        assert loaded
        assert [file for file in loaded if file not in kept] == []


def test_whatever_the_worker_keeps_is_there(client: Client) -> None:
    kept = files_kept(client)
    assert len(kept) == len(set(kept))
    assert [file for file in kept if finders.find(file.removeprefix("/static/")) is None] == []


def test_what_a_kept_module_imports_is_kept(client: Client) -> None:
    kept = files_kept(client)
    for path in (file for file in kept if "/tablet/" in file and file.endswith(".js")):
        text = Path(str(finders.find(path.removeprefix("/static/")))).read_text()
        for name in re.findall(r'(?:from|import) "\./([\w.]+)"', text):
            assert f"/static/jobs/tablet/{name}" in kept


def test_another_content_of_any_file_is_another_release(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    script = tmp_path / "one.js"
    script.write_text("first")
    monkeypatch.setattr(worker, "kept_files", lambda: (("jobs/tablet/one.js", script),))
    first = worker.release.__wrapped__()
    script.write_text("second")
    assert worker.release.__wrapped__() != first
    script.write_text("first")
    assert worker.release.__wrapped__() == first


def test_the_manifest_makes_an_app_of_the_board(client: Client) -> None:
    answer = client.get("/tablet/manifest.webmanifest")
    assert answer.headers["Content-Type"] == "application/manifest+json"
    manifest = answer.json()
    assert (manifest["start_url"], manifest["scope"]) == ("/tablet/", "/tablet/")
    assert manifest["display"] == "standalone"
    assert manifest["name"]
    assert {icon["purpose"] for icon in manifest["icons"]} == {"any", "maskable"}
    for icon in manifest["icons"]:
        picture = client.get(icon["src"])
        image = Image.open(BytesIO(b"".join(picture.streaming_content)))  # type: ignore[attr-defined]
        assert f"{image.width}x{image.height}" == icon["sizes"]


def test_what_happened_since_a_version_is_told_with_who_and_when(scene: Scene) -> None:
    job = arrived(scene)
    seen = detail(scene.workshop_api(), job)["version"]
    manager = person_api(scene.manager)
    done(manager.post(f"/jobs/{job['id']}/moves", {"to": "cleaning", "version": seen}))
    text = since(scene, job, seen)
    assert "Moved from intake to cleaning." in text
    assert scene.manager.name in text
    assert "<time datetime=" in text
    assert "arrived" not in text
    assert "Nothing" in since(scene, job, seen + 1)


def test_markup_in_a_reason_is_told_as_text(scene: Scene) -> None:
    job = arrived(scene)
    hold = {"cause": "parts", "reason": "<script>alert(1)</script>"}
    done(scene.workshop_api().post(f"/jobs/{job['id']}/holds", hold))
    text = since(scene, job, 0)
    assert "<script>" not in text
    assert "&lt;script&gt;" in text


def test_a_version_beyond_all_numbers_has_nothing_after_it(scene: Scene) -> None:
    assert "Nothing" in since(scene, arrived(scene), 10**30)


def test_what_happened_since_takes_few_queries(
    scene: Scene, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    job = arrived(scene)
    tablet = person_api(scene.valeter).client
    with django_assert_max_num_queries(MOST_QUERIES):
        tablet.get(f"/tablet/cars/{job['id']}/since/0")
