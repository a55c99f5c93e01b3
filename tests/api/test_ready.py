"""GET /ready, the call every dashboard makes every few seconds."""

import threading
from typing import Any
from uuid import UUID

import pytest
from django.db import connection, transaction
from pytest_django import DjangoAssertNumQueries

from accounts.caller import Caller, Scope, Side
from accounts.models import Organisation
from core.clock import now
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import Job
from jobs.work.selectors.jobs import jobs as job_selectors
from jobs.work.services.stages.moves import stage_move
from tests.api.steps import arrived, detail, done, fields, moved, ready, refused
from tests.patience import PATIENCE_SECONDS
from tests.scene import Api, Scene, key_api, make_scene, person_api

MARKS = ["TU21 ABC", "TU21 ABD", "TU21 ABE", "TU21 ABF", "TU21 ABG"]


def several(scene: Scene, count: int) -> list[Any]:
    """Bring several cars to ready, one after the other."""
    return [
        ready(scene, dealer_ref=f"PX-{index}", registration=MARKS[index]) for index in range(count)
    ]


def shown(answer: Any) -> list[str]:
    return [car["id"] for car in done(answer)["cars"]]


def poll(api: Api, path: str = "/ready", etag: str = "") -> Any:
    return api.get(path, **({"If-None-Match": etag} if etag else {}))


def test_ready_cars_come_newest_first_with_what_a_board_shows(scene: Scene) -> None:
    jobs = several(scene, 3)
    answer = done(scene.dealer_api().get("/ready"))
    assert [car["id"] for car in answer["cars"]] == [job["id"] for job in reversed(jobs)]
    assert answer["cursor"] == answer["cars"][0]["ready_number"]
    assert answer["more"] is False
    newest = answer["cars"][0]
    for name in ("registration", "dealer_ref", "make", "model", "version", "ready_at"):
        assert newest[name] == jobs[2][name]
    assert "cap_amount" not in newest


def test_after_gives_only_later_cars_oldest_first(scene: Scene) -> None:
    jobs = several(scene, 4)
    dealer = scene.dealer_api()
    numbers = {car["id"]: car["ready_number"] for car in done(dealer.get("/ready"))["cars"]}
    cursor = numbers[jobs[0]["id"]]
    later = dealer.get(f"/ready?after={cursor}")
    assert shown(later) == [job["id"] for job in jobs[1:]]
    last = later.json()["cursor"]
    assert last == numbers[jobs[3]["id"]]
    nothing = done(dealer.get(f"/ready?after={last}"))
    assert nothing == {"cars": [], "cursor": last, "more": False}
    assert shown(dealer.get("/ready?after=0")) == [job["id"] for job in jobs]


def test_paging_on_from_zero_leaves_no_car_out(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jobs.work.api.jobs.ready.READY_PAGE", 2)
    jobs, dealer = several(scene, 5), scene.dealer_api()
    first = done(dealer.get("/ready"))
    assert (len(first["cars"]), first["more"]) == (2, True)
    found, cursor, more, pages = [], 0, True, 0
    while more:
        page = done(dealer.get(f"/ready?after={cursor}"))
        found += [car["id"] for car in page["cars"]]
        cursor, more, pages = page["cursor"], page["more"], pages + 1
    assert found == [job["id"] for job in jobs]
    assert pages == 3


@pytest.mark.parametrize("leaves", ["collected", "cancelled", "rework"])
def test_a_car_leaves_the_list_and_the_etag_changes(scene: Scene, leaves: str) -> None:
    job, dealer, workshop = ready(scene), scene.dealer_api(), scene.workshop_api()
    before = poll(dealer)
    assert shown(before) == [job["id"]]
    if leaves == "collected":
        done(workshop.post(f"/jobs/{job['id']}/collection", {"confirm": True}))
    elif leaves == "cancelled":
        done(dealer.post(f"/work-orders/{job['id']}/cancel"))
    else:
        moved(workshop, job, "correction")
    after = poll(dealer, etag=before.headers["ETag"])
    assert shown(after) == []
    assert Job.objects.get().ready_number is None


def test_a_car_that_becomes_ready_again_counts_as_newest(scene: Scene) -> None:
    first, second = several(scene, 2)
    dealer, workshop = scene.dealer_api(), scene.workshop_api()
    cursor = done(dealer.get("/ready"))["cursor"]
    moved(workshop, first, "cleaning", "ready")
    assert shown(dealer.get("/ready")) == [first["id"], second["id"]]
    assert shown(dealer.get(f"/ready?after={cursor}")) == [first["id"]]
    assert done(dealer.get("/ready"))["cars"][0]["rework_count"] == 1


def test_a_change_of_a_ready_car_is_seen_without_moving_it(scene: Scene) -> None:
    first, second = several(scene, 2)
    dealer = scene.dealer_api()
    before = poll(dealer)
    done(dealer.patch(f"/work-orders/{first['id']}", {"colour": "Slate grey"}))
    after = poll(dealer, etag=before.headers["ETag"])
    assert shown(after) == [second["id"], first["id"]]
    assert after.json()["cars"][1]["colour"] == "Slate grey"


def test_an_unchanged_list_is_304_with_its_etag_and_no_body(scene: Scene) -> None:
    job, dealer = ready(scene), scene.dealer_api()
    first = poll(dealer)
    etag = first.headers["ETag"]
    assert etag.startswith('"')  # strong
    assert etag.endswith('"')
    for sent in (etag, f'"other", {etag}', f"W/{etag}"):
        again = poll(dealer, etag=sent)
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["ETag"] == etag
    for person in (person_api(scene.staff),):
        assert poll(person).headers["ETag"] == etag
        assert poll(person, etag=etag).status_code == 304
    moved(scene.workshop_api(), job, "cleaning")
    assert poll(dealer, etag=etag).status_code == 200


def test_each_cursor_has_an_etag_of_its_own(scene: Scene) -> None:
    several(scene, 2)
    dealer = scene.dealer_api()
    whole = poll(dealer).headers["ETag"]
    for path in ("/ready?after=0", "/ready?after=1"):
        answer = poll(dealer, path, etag=whole)
        assert answer.status_code == 200
        assert poll(dealer, path, etag=answer.headers["ETag"]).status_code == 304


def test_work_that_no_board_shows_leaves_the_etag(scene: Scene) -> None:
    ready(scene)
    dealer = scene.dealer_api()
    etag = poll(dealer).headers["ETag"]
    job = arrived(scene, dealer_ref="PX-2", registration="JX19 KLM")
    moved(scene.workshop_api(), job, "cleaning")
    stranger = key_api(scene.stranger_dealer)
    assert poll(stranger).headers["ETag"] != etag
    assert poll(dealer, etag=etag).status_code == 304


def test_a_dealer_sees_its_own_cars_only(scene: Scene) -> None:
    ready(scene)
    assert shown(key_api(scene.stranger_dealer).get("/ready")) == []


def test_an_unchanged_poll_is_one_query_and_a_changed_one_two(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    several(scene, 3)
    dealer = scene.dealer_api()
    etag = poll(dealer).headers["ETag"]  # the first use of a key in a minute is noted
    with django_assert_num_queries(1):
        assert poll(dealer, etag=etag).status_code == 304
    with django_assert_num_queries(2):
        assert len(shown(poll(dealer))) == 3
    with django_assert_num_queries(2):
        assert len(shown(poll(dealer, "/ready?after=0"))) == 3
    moved(scene.workshop_api(), detail(dealer, {"id": shown(poll(dealer))[0]}), "cleaning")
    with django_assert_num_queries(2):
        assert len(shown(poll(dealer, etag=etag))) == 2


@pytest.mark.parametrize(
    "after",
    [
        "",
        "-1",
        "1.0",
        "x",
        "1e3",
        "٣",
        "9223372036854775808",
        "00000000000000000000009223372036854775808",
        "9" * 5000,
        "%20",
    ],
)
@pytest.mark.parametrize("who", ["key", "person"])
def test_a_cursor_that_is_none_of_ours_is_refused(scene: Scene, after: str, who: str) -> None:
    dealer = scene.dealer_api() if who == "key" else person_api(scene.staff)
    assert fields(dealer.get(f"/ready?after={after}")) == ["after"]
    assert fields(dealer.get(f"/ready?after={2**63 - 1}")) == ["after"]


def test_a_mistyped_parameter_is_refused_by_name(scene: Scene) -> None:
    for dealer in (scene.dealer_api(), person_api(scene.staff)):
        answer = dealer.get("/ready?afetr=3&stage=ready")
        assert fields(answer) == ["afetr", "stage"]
        assert "after" in answer.json()["detail"]


@pytest.mark.usefixtures("still_minute")
def test_a_poll_over_the_limit_is_told_when_to_come_again(scene: Scene, settings: Any) -> None:
    settings.REQUESTS_PER_MINUTE = 3
    dealer = scene.dealer_api()
    answers = [poll(dealer) for _ in range(5)]
    problem = refused(answers[-1], 429, "too-many-requests")
    assert 1 <= int(answers[-1].headers["Retry-After"]) <= 60
    assert "again" in problem["detail"]
    assert answers[0].status_code == 200


def to_ready(job_id: UUID, workshop_id: UUID, version: int) -> None:
    """Move a car to ready as the workshop's system does."""
    caller = Caller(workshop_id, Side.WORKSHOP, frozenset({Scope.WORK}), "tests")
    stage_move(
        caller=caller,
        job_id=job_id,
        to=Stage.READY,
        made_against=version,
        occurred_at=now(),
        confirm=True,
    )


def in_cleaning(scene: Scene, index: int) -> tuple[UUID, UUID, int]:
    job = arrived(scene, dealer_ref=f"PX-{index}", registration=MARKS[index])
    job = moved(scene.workshop_api(), job, "cleaning")
    return UUID(job["id"]), scene.workshop.pk, job["version"]


class Other(threading.Thread):
    """Another connection that waits where it is told to, and reports what went wrong."""

    def __init__(self, first: Any, then: Any) -> None:
        super().__init__()
        self.begun, self.go_on = threading.Event(), threading.Event()
        self.first, self.then = first, then
        self.error: BaseException | None = None

    def run(self) -> None:
        try:
            with transaction.atomic():
                self.first()
                self.begun.set()
                assert self.go_on.wait(timeout=PATIENCE_SECONDS)
                self.then()
        except BaseException as error:  # noqa: BLE001  raised again by finish()
            self.error = error
        finally:
            connection.close()

    def finish(self) -> None:
        """Release it to go on to its commit."""
        self.go_on.set()
        self.join(timeout=PATIENCE_SECONDS)
        assert not self.is_alive()
        if self.error is not None:
            raise self.error


@pytest.mark.django_db(transaction=True)
def test_a_number_is_not_given_while_an_earlier_one_is_not_committed() -> None:
    scene = make_scene()
    early, late = in_cleaning(scene, 0), in_cleaning(scene, 1)
    dealer = scene.dealer_api()
    cursor = done(dealer.get("/ready"))["cursor"]
    slow = Other(lambda: to_ready(*early), lambda: None)
    slow.start()
    assert slow.begun.wait(timeout=PATIENCE_SECONDS)
    quick = Other(lambda: to_ready(*late), lambda: None)
    quick.go_on.set()
    quick.start()
    # The second waits for the first: nothing may be shown that a hole lies before.
    assert not quick.begun.wait(timeout=0.3)
    assert shown(dealer.get(f"/ready?after={cursor}")) == []
    slow.finish()
    quick.finish()
    cars = [str(early[0]), str(late[0])]
    assert shown(dealer.get(f"/ready?after={cursor}")) == cars


@pytest.mark.django_db(transaction=True)
def test_a_cursor_passes_no_car_whose_transaction_began_first_and_committed_last() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite lets one writer in at a time, so the order cannot be reversed")
    scene = make_scene()
    early, late = in_cleaning(scene, 0), in_cleaning(scene, 1)
    dealer = scene.dealer_api()
    cursor = done(dealer.get("/ready"))["cursor"]

    def look() -> None:
        with connection.cursor() as rows:  # its snapshot and transaction id are taken here
            rows.execute("SELECT txid_current()")

    slow = Other(look, lambda: to_ready(*early))
    slow.start()
    assert slow.begun.wait(timeout=PATIENCE_SECONDS)
    to_ready(*late)
    seen = done(dealer.get(f"/ready?after={cursor}"))
    assert [car["id"] for car in seen["cars"]] == [str(late[0])]
    slow.finish()
    assert shown(dealer.get(f"/ready?after={seen['cursor']}")) == [str(early[0])]
    assert Organisation.objects.get(pk=scene.dealer.pk).ready_version == seen["cursor"] + 1


def test_the_list_is_read_through_its_index(scene: Scene) -> None:
    ready(scene)
    cars = Job.objects.filter(dealer_id=scene.dealer.pk, ready_number__isnull=False)
    plan = cars.order_by("-ready_number").values(*job_selectors.READY_FIELDS).explain()
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:  # a handful of rows would be scanned
            cursor.execute("SET LOCAL enable_seqscan = off")
        plan = cars.order_by("-ready_number").values(*job_selectors.READY_FIELDS).explain()
    assert "job_ready" in plan
    assert "Sort" not in plan
    assert "TEMP B-TREE" not in plan
