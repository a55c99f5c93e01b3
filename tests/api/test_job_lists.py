"""Lists of jobs, one job, its history and the catalogue, as each side may see them."""

import base64
from typing import Any
from urllib.parse import quote

import pytest
from django.db import connection
from pytest_django import DjangoAssertNumQueries

from jobs.work.calc.catalogue.operations import OPERATIONS, PACKAGES
from tests.api.steps import (
    NOWHERE,
    arrived,
    detail,
    done,
    fields,
    history,
    moved,
    posted,
    ready,
    refused,
)
from tests.scene import Api, Scene, key_api, person_api

MARKS = ["TU21 ABC", "JX19 KLM", "UX70 DEF", "TJ22 GHK"]
VIN = "1G4AH59H45G118341"  # 49 CFR 565.15(c) (page)


@pytest.fixture
def day(scene: Scene) -> dict[str, Any]:
    """Return four jobs of one dealer, each somewhere else, and one of a stranger."""
    workshop = scene.workshop_api()

    def order(index: int, **more: Any) -> dict[str, Any]:
        return {"dealer_ref": f"PX-{index}", "registration": MARKS[index], **more}

    jobs = {
        "waiting": posted(scene.dealer_api(), **order(0, due_at="2027-03-01T09:00:00Z")),
        "cleaning": moved(
            workshop, arrived(scene, **order(1, due_at="2027-03-02T09:00:00Z", vin=VIN)), "cleaning"
        ),
        "held": arrived(scene, **order(2)),
        "gone": ready(scene, **order(3, due_at="2027-03-03T09:00:00Z")),
        "foreign": posted(key_api(scene.stranger_dealer)),
    }
    done(workshop.post(f"/jobs/{jobs['held']['id']}/holds", {"cause": "parts"}))
    done(workshop.post(f"/jobs/{jobs['gone']['id']}/collection", {"confirm": True}))
    return jobs


def names(day: dict[str, Any], answer: Any) -> list[str]:
    """Return which of the day's jobs a list shows, by name."""
    by_id = {job["id"]: name for name, job in day.items()}
    return [by_id[job["id"]] for job in done(answer)["results"]]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("", ["gone", "held", "cleaning", "waiting"]),
        ("stage=cleaning", ["cleaning"]),
        ("stage=cleaning&stage=ready", ["gone", "cleaning"]),
        ("open=true", ["held", "cleaning", "waiting"]),
        ("open=false", ["gone"]),
        ("on_hold=true", ["held"]),
        ("on_hold=false&open=true", ["cleaning", "waiting"]),
        ("registration=jx-19-klm", ["cleaning"]),
        ("registration=JX19%20KLM", ["cleaning"]),
        ("registration=JX19", []),
        ("registration=%C3%9F", []),
        ("dealer_ref=PX-2", ["held"]),
        (f"vin={VIN.lower()}", ["cleaning"]),
        ("due_before=2027-03-02T09:00:00Z", ["waiting"]),
        ("due_before=2027-03-02T10:00:00%2B01:00", ["waiting"]),
        ("due_after=2027-03-02T09:00:00Z", ["gone", "cleaning"]),
        ("due_after=2027-03-01T10:00:00Z&due_before=2027-03-03T00:00:00Z", ["cleaning"]),
        (f"dealer={NOWHERE}", []),
        ("page_size=200", ["gone", "held", "cleaning", "waiting"]),
    ],
)
def test_a_list_is_narrowed_to_what_was_asked_for(
    scene: Scene, day: dict[str, Any], query: str, found: list[str]
) -> None:
    for api in (scene.dealer_api(), person_api(scene.valeter)):
        assert names(day, api.get(f"/jobs?{query}")) == found


def test_a_list_is_narrowed_by_the_other_side(scene: Scene, day: dict[str, Any]) -> None:
    workshop, dealer = scene.workshop_api(), scene.dealer_api()
    for api, name, organisation in (
        (workshop, "dealer", scene.dealer),
        (dealer, "workshop", scene.workshop),
    ):
        assert len(names(day, api.get(f"/jobs?{name}={organisation.pk}"))) == 4
    foreign = scene.stranger_dealer.pk
    assert names(day, workshop.get(f"/jobs?dealer={foreign}")) == []
    assert names(day, key_api(scene.stranger_workshop).get("/jobs")) == ["foreign"]


@pytest.mark.parametrize(
    ("query", "wrong"),
    [
        ("stge=cleaning", ["stge"]),
        ("colour=red&Stage=cleaning", ["Stage", "colour"]),
        ("stage=washing", ["stage"]),
        ("open=banana", ["open"]),
        ("on_hold=1", ["on_hold"]),
        ("dealer=7", ["dealer"]),
        ("due_before=2027-03-01T09:00:00", ["due_before"]),
        ("due_before=2027-03-01", ["due_before"]),
        ("due_before=2027-03-01T09:00:00+01:00", ["due_before"]),  # the + means a space
        ("due_after=soon", ["due_after"]),
        ("due_after=0001-01-01T00:00:00%2B23:59", ["due_after"]),
        ("due_after=9999-12-31T23:59:59-23:59", ["due_after"]),
        ("registration=" + "X" * 41, ["registration"]),
        ("dealer_ref=" + "X" * 61, ["dealer_ref"]),
        ("open=maybe&stage=washing", ["open", "stage"]),
        ("page_size=0", ["page_size"]),
        ("page_size=201", ["page_size"]),
        ("page_size=-1", ["page_size"]),
        ("page_size=ten", ["page_size"]),
        ("page_size=" + "9" * 5000, ["page_size"]),
        ("page_size=", ["page_size"]),
        ("cursor=7", ["cursor"]),
        ("cursor=%00", []),
        ("registration=%ED%A0%80", []),
        ("registration=%FF", []),
    ],
)
def test_what_a_list_does_not_understand_is_refused_by_name(
    scene: Scene, query: str, wrong: list[str]
) -> None:
    assert sorted(fields(scene.dealer_api().get(f"/jobs?{query}"))) == wrong


@pytest.mark.parametrize(
    "place",
    ["p=soon", "p=%00", "p=7", "p=2027-03-01", "o=-1", "o=x", "r=1&p=", "p=" + "9" * 500, "\u00ff"],
)
def test_a_forged_cursor_is_refused(scene: Scene, place: str) -> None:
    posted(scene.dealer_api())
    cursor = quote(base64.b64encode(place.encode()).decode())
    answer = scene.dealer_api().get(f"/jobs?cursor={cursor}")
    assert answer.status_code in {200, 400}
    if answer.status_code == 400:
        assert fields(answer) == ["cursor"]


@pytest.mark.parametrize("place", ["p=soon", "p=7", "p=2027-03-01"])
def test_a_cursor_of_another_list_is_refused(scene: Scene, place: str) -> None:
    cursor = quote(base64.b64encode(place.encode()).decode())
    assert fields(scene.dealer_api().get(f"/jobs?cursor={cursor}")) == ["cursor"]


def test_pages_follow_each_other_without_hole_or_repeat_while_jobs_come_in(scene: Scene) -> None:
    dealer = scene.dealer_api()

    def add(index: int) -> str:
        mark = f"TU21 A{chr(65 + index // 26)}{chr(65 + index % 26)}"
        return str(posted(dealer, dealer_ref=f"PX-{index}", registration=mark)["id"])

    before = [add(index) for index in range(7)]
    found: list[str] = []
    address = "http://testserver/api/v1/jobs?page_size=3"
    while address:
        page = done(dealer.get(address.removeprefix("http://testserver/api/v1")))
        assert len(page["results"]) <= 3
        found += [job["id"] for job in page["results"]]
        address = page["next"]
        add(len(before) + len(found))
    assert found == before[::-1]


def test_a_page_costs_the_same_however_many_jobs_it_shows(
    scene: Scene, day: dict[str, Any], django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    del day
    dealer = scene.dealer_api()
    done(dealer.get("/jobs"))  # the first use of a key in a minute is noted
    with django_assert_num_queries(2):
        assert len(done(dealer.get("/jobs"))["results"]) == 4
    with django_assert_num_queries(2):
        assert len(done(dealer.get("/jobs?page_size=1"))["results"]) == 1


def test_one_job_costs_the_same_however_many_tasks_it_has(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    job = posted(scene.dealer_api(), operations=["retail_prep"])
    dealer = scene.dealer_api()
    detail(dealer, job)
    # The key; the job, its tasks, holds, clocks and changes.
    with django_assert_num_queries(6):
        assert len(detail(dealer, job)["tasks"]) > 15


def test_tasks_and_holds_keep_their_order_whatever_happens_to_them(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene, operations=["retail_prep"])
    for cause in ("parts", "weather", "decision"):
        done(workshop.post(f"/jobs/{job['id']}/holds", {"cause": cause}))
    before = detail(workshop, job)
    for hold in before["holds"]:
        done(workshop.post(f"/jobs/{job['id']}/holds/{hold['id']}/release"))
    for task in before["tasks"][:3]:
        for step in ("start", "finish"):
            done(workshop.post(f"/jobs/{job['id']}/tasks/{task['id']}/{step}"))
    if connection.vendor == "postgresql":  # where a scan shows a changed row last
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL enable_indexscan = off; SET LOCAL enable_bitmapscan = off")
    after = detail(workshop, job)
    for part in ("tasks", "holds"):
        assert [row["id"] for row in after[part]] == [row["id"] for row in before[part]]
    assert [hold["cause"] for hold in after["holds"]] == ["parts", "weather", "decision"]


def test_an_unchanged_job_is_304(scene: Scene) -> None:
    job, dealer = posted(scene.dealer_api()), scene.dealer_api()
    for path in ("/jobs", f"/jobs/{job['id']}", f"/jobs/{job['id']}/history"):
        etag = dealer.get(path).headers["ETag"]
        assert dealer.get(path, **{"If-None-Match": etag}).status_code == 304
        assert dealer.get(path, **{"If-None-Match": '"other"'}).status_code == 200


@pytest.mark.parametrize("path", ["", "/history"])
def test_a_foreign_job_and_a_missing_one_are_the_same_404(scene: Scene, path: str) -> None:
    job = posted(key_api(scene.stranger_dealer))
    for api in (scene.dealer_api(), scene.workshop_api(), person_api(scene.valeter)):
        answers = []
        for job_id in (job["id"], NOWHERE):
            problem = refused(api.get(f"/jobs/{job_id}{path}"), 404, "not-found")
            problem.pop("request_id", None)
            answers.append(problem)
        assert answers[0] == answers[1]


def test_every_entry_of_the_history_is_there_in_order(scene: Scene) -> None:
    job = ready(scene)
    for api in (scene.dealer_api(), scene.workshop_api()):
        entries = history(api, job)
        assert [entry["number"] for entry in entries] == list(range(1, len(entries) + 1))
        assert [entry["kind"] for entry in entries] == [
            "received",
            "accepted",
            "arrived",
            "moved",
            "moved",
        ]


def test_the_catalogue_is_open_to_any_caller(scene: Scene) -> None:
    for api in (scene.dealer_api(), person_api(scene.valeter)):
        operations = done(api.get("/operations"))["operations"]
        assert [operation["code"] for operation in operations] == list(OPERATIONS)
        for operation in operations:
            assert operation["caution"] == OPERATIONS[operation["code"]].caution_on()
        packages = done(api.get("/packages"))["packages"]
        assert {package["code"]: tuple(package["operations"]) for package in packages} == {
            code: package.operations for code, package in PACKAGES.items()
        }


def test_head_asks_the_same_of_its_caller_as_get(scene: Scene) -> None:
    job = posted(scene.dealer_api())
    paths = ["/jobs", f"/jobs/{job['id']}", f"/jobs/{job['id']}/history", "/operations"]
    for path in paths:
        assert scene.dealer_api().call("HEAD", path).status_code == 200
        assert Api(scene.dealer_api().client).call("HEAD", path).status_code == 401
    assert scene.dealer_api().call("HEAD", "/ready").status_code == 200
    assert scene.workshop_api().call("HEAD", "/ready").status_code == 403
    assert Api(scene.dealer_api().client).call("HEAD", "/ready").status_code == 401
