"""What is over goes from cars, table by table and file by file; all else stays as it is."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.storage import storages

from core.clock import now
from jobs.retention.fates import CARS
from jobs.retention.models import KeptCar, Removal
from jobs.retention.services.sweep import sweep
from jobs.retention.services.terms import car_keep, car_release, term_set
from jobs.retention.terms import DataKind
from jobs.work.calc.stages.machine import replay
from jobs.work.models import Belonging, HistoryEntry, Job, Photo, Task
from notifications.models import Event
from tests.api.steps import detail, done, history
from tests.retention.conftest import Marked
from tests.retention.marked import PRIVATE, WHICH, WORDS, closed_days_ago
from tests.retention.reading import folders, places_of
from tests.retention.test_fates import MODELS
from tests.scene import Scene, person_api

pytestmark = pytest.mark.django_db

YEAR = 365


def swept(**later: float) -> dict[str, Removal]:
    """Sweep everything and return the records by step."""
    done_now = sweep(at=now() + timedelta(**later), may_go_on=lambda: True)
    assert done_now.whole
    return {removal.step: removal for removal in done_now.removals}


def files() -> int:
    return sum(path.is_file() for path in folders()[0].rglob("*"))


@pytest.fixture
def scene(marked: Marked) -> Scene:
    return marked.scene


@pytest.fixture
def car(marked: Marked) -> Any:
    return marked.car


@pytest.mark.usefixtures("car")
def test_the_car_is_marked_wherever_people_write() -> None:
    written = {
        f"{MODELS[label]._meta.db_table}.{column}"
        for label, fate in CARS.items()
        for column in fate.personal
    }
    others = {"jobs_job.contact_phone", "jobs_belonging.returned_by", "retention_keptcar.reason"}
    notes = {place for place in written if place.endswith(".note")}  # this car has few of them
    assert written - places_of(PRIVATE) - notes == others
    assert {"jobs_task.note", "jobs_suppliedtick.note", "jobs_historyentry.data"} <= places_of(
        PRIVATE
    )


@pytest.mark.usefixtures("car")
def test_before_its_term_nothing_goes() -> None:
    before = places_of(PRIVATE, WORDS, WHICH)
    records = swept(days=59)
    assert places_of(PRIVATE, WORDS, WHICH) == before
    assert {record.rows for record in records.values()} == {0}


def test_personal_data_go_and_the_rest_stays(car: Any) -> None:
    closed_days_ago(car, 0)
    records = swept(days=YEAR + 1)
    assert places_of(PRIVATE, "960177") == set()
    assert records["personal"].cars == 1
    assert records["personal"].rows > 10
    job = Job.objects.get(pk=car["id"])
    assert (job.registration, job.dealer_ref) == ("TU21 ABC", f"PX-{WHICH}")
    assert Photo.objects.filter(job=job).count() == 4
    assert {"jobs_finding.noticed", "jobs_workrequest.what", "jobs_hold.reason"} <= places_of(WORDS)
    assert Belonging.objects.get(finding__job=job).returned_to == "(deleted)"


def test_photographs_go_with_their_files(scene: Scene, car: Any) -> None:
    assert files() == 8
    records = swept(days=2 * YEAR + 1)
    assert files() == 0
    assert Photo.objects.count() == 0
    assert (records["pictures"].files, records["files"].files) == (8, 0)
    assert detail(person_api(scene.manager), car)["id"] == car["id"]


def test_at_the_end_only_figures_stay(scene: Scene, car: Any) -> None:
    steps = [entry.step for entry in HistoryEntry.objects.order_by("number")]
    minutes = Task.objects.filter(actual_minutes__isnull=False).count()
    swept(days=6 * YEAR + 1)
    people = (scene.manager.name, scene.staff.name)
    assert places_of(PRIVATE, WORDS, WHICH, "TU21") == set()
    assert {place.partition(".")[0] for place in places_of(*people)} == {"accounts_person"}
    entries = list(HistoryEntry.objects.order_by("number"))
    job = Job.objects.get(pk=car["id"])
    assert [entry.step for entry in entries] == steps
    assert replay(steps) == job.state
    assert Task.objects.filter(actual_minutes__isnull=False).count() == minutes == 1
    assert not HistoryEntry.objects.exclude(actor_person_id=None).exists()


def test_every_page_of_a_cleared_car_still_answers(scene: Scene, car: Any) -> None:
    swept(days=6 * YEAR + 1)
    office, dealer = person_api(scene.owner), person_api(scene.staff)
    assert len(history(office, car)) > 10
    for part in ("", "/findings", "/walk-rounds", "/photos", "/requests", "/paint", "/waits"):
        for api in (office, dealer):
            assert done(api.get(f"/jobs/{car['id']}{part}"))
    for api, page in (
        (office, f"/desk/cars/{car['id']}"),
        (office, f"/tablet/cars/{car['id']}"),
        (dealer, f"/dashboard/cars/{car['id']}"),
    ):
        assert api.client.get(page).status_code == 200, page


@pytest.mark.usefixtures("car")
def test_an_open_car_stays_whatever_its_age() -> None:
    Job.objects.update(is_open=True, collected_at=None)
    before = places_of(PRIVATE, WORDS)
    swept(days=20 * YEAR)
    left = {place for place in before if not place.startswith("notifications_")}
    assert places_of(PRIVATE, WORDS) == left != before


@pytest.mark.parametrize("why", ["dispute", "belonging"])
def test_what_is_not_settled_stays_until_it_is(car: Any, why: str) -> None:
    job = Job.objects.get(pk=car["id"])
    if why == "dispute":
        car_keep(job=job, reason="A claim for a scratch.")
    else:
        Belonging.objects.update(returned_at=None, returned_to="")
    assert swept(days=20 * YEAR)["personal"].cars == 0
    assert "jobs_job.notes" in places_of(PRIVATE)
    if why == "dispute":
        car_release(job=job)
        assert KeptCar.objects.exclude(ended_at=None).count() == 1
    else:
        Belonging.objects.update(returned_at=now(), returned_to="Nan Orrick")
    assert swept(days=20 * YEAR)["personal"].cars == 1
    assert places_of(PRIVATE) == set()


@pytest.mark.usefixtures("car")
def test_a_workshop_may_have_a_term_of_its_own(scene: Scene) -> None:
    term_set(workshop=scene.workshop, kind=DataKind.PICTURES, days=90)
    term_set(workshop=scene.stranger_workshop, kind=DataKind.PERSONAL, days=200)
    assert swept(days=91)["pictures"].cars == 1
    assert files() == 0
    assert "jobs_job.notes" in places_of(PRIVATE)
    term_set(workshop=scene.workshop, kind=DataKind.PERSONAL, days=3000)
    assert swept(days=YEAR + 1)["personal"].cars == 0
    term_set(workshop=scene.workshop, kind=DataKind.PERSONAL, days=None)
    assert swept(days=YEAR + 1)["personal"].cars == 1


def test_a_sweep_goes_on_where_it_stopped(
    scene: Scene, car: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from jobs.retention.services import steps  # noqa: PLC0415

    monkeypatch.setattr(steps, "CARS_AT_ONCE", 1)
    marked = Job.objects.get(pk=car["id"])
    others = [
        Job(
            dealer=scene.dealer, workshop=scene.workshop, registration_key=f"J{nth}", is_open=False,
            collected_at=marked.collected_at, received_at=now(), updated_at=now(), notes=PRIVATE,
        )
        for nth in range(4)
    ]  # fmt: skip
    Job.objects.bulk_create(others)
    at = now() + timedelta(days=YEAR + 1)
    batches = iter([True, True, False])
    first = sweep(at=at, may_go_on=lambda: next(batches, False))
    assert not first.whole
    assert first.removals[0].cars == 2
    assert first.removals[0].place
    assert Job.objects.filter(notes="").count() == 2
    second = sweep(at=at, may_go_on=lambda: True)
    assert second.whole
    assert second.removals[0].pk == first.removals[0].pk
    assert second.removals[0].cars == 5
    assert places_of(PRIVATE) == set()


@pytest.mark.usefixtures("car")
def test_a_step_that_fails_keeps_no_other_from_its_work(monkeypatch: pytest.MonkeyPatch) -> None:
    from jobs.retention.services import cars  # noqa: PLC0415

    def broken(*_: Any) -> Any:
        raise OSError("no store")

    with monkeypatch.context() as patch:
        patch.setattr(cars, "_pictures", broken)
        assert not sweep(at=now() + timedelta(days=6 * YEAR), may_go_on=lambda: True).whole
    assert files() == 8
    assert not Event.objects.exists()
    swept(days=6 * YEAR + 1)
    assert files() == 0


def test_the_record_names_nobody(car: Any) -> None:
    records = swept(days=6 * YEAR + 1)
    collected_at = Job.objects.get(pk=car["id"]).collected_at
    assert records["history"].newest == records["history"].oldest == collected_at
    assert all(record.finished_at for record in records.values())
    assert places_of("Brackmoor", "Fernhollow") == {
        "accounts_organisation.name",
        "accounts_organisation.contact_email",
    }


@pytest.mark.usefixtures("car")
def test_photographs_on_their_way_out_leave_no_file_that_stays() -> None:
    """A crash between the rows and the files leaves files without a row: the next sweep's."""
    store = storages["photos"]
    name = Photo.objects.earliest("pk").renditions.earliest("pk").name
    Photo.objects.earliest("pk").renditions.all()[0].delete()
    folder = name.partition("/")[0]
    (folders()[0] / folder / "readme.txt").write_text("Somebody else's.")
    assert swept(hours=23)["files"].files == 0
    assert swept(hours=25)["files"].files == 1
    assert not store.exists(name)
    assert files() == 8
