"""The tablet about time and weather: what cures and dries, the air, dirt, and minutes in doubt."""

import re
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.test import Client

from core.clock import now
from jobs.work.models import ClimateReading, Forecast, Product, Task, WaitClock
from tests.api import looked
from tests.api.looked import page, tight
from tests.api.steps import arrived, done, moved
from tests.api.test_pages_tablet import forms, rich_car
from tests.scene import Scene, person_api

HOUR = timedelta(hours=1)
SHEET = "The product's own data sheet outranks these times."
FORM = re.compile(r'<form class="act[^>]*data-kind="(\w+)"')


@pytest.fixture
def tablet(scene: Scene) -> Client:
    """Return the tablet with the valeter signed in."""
    return person_api(scene.valeter).client


def car_page(tablet: Client, job: Any) -> str:
    """Return the page of a car."""
    return page(tablet, f"/tablet/cars/{job['id']}")


def words(html: str) -> str:
    """Return what is read of a page, as it is read."""
    return unescape(looked.words(html))


def section(html: str, name: str) -> str:
    """Return what is read of the part of a page under a heading."""
    return unescape(looked.section(html, name))


def worked(scene: Scene, *operations: str) -> Any:
    """Return a car in correction whose work is to come."""
    work = scene.workshop_api()
    return moved(work, arrived(scene, operations=list(operations)), "cleaning", "correction")


def task_of(job: Any, operation: str) -> Task:
    """Return a task of a job."""
    return Task.objects.get(job_id=job["id"], operation=operation)


def clock_on(job: Any, operation: str = "trim_dressing", **more: Any) -> WaitClock:
    """Start something that cures or dries: begun an hour ago, done in between two hours."""
    at = now()
    known: dict[str, Any] = {
        "kind": "cure",
        "started_at": at - HOUR,
        "reference_minutes": 180,
        "earliest_at": at + HOUR,
        "ends_at": at + 2 * HOUR,
        "basis": "gaps",
        "progress_percent": 25,
        "worked_out_at": at,
    }
    task = task_of(job, operation)
    return WaitClock.objects.create(job=task.job, task=task, **{**known, **more})


def drying_on(job: Any, *, ends_in: timedelta) -> WaitClock:
    """Start a wet extraction that dries on a car."""
    at = now()
    return clock_on(job, "wet_extraction", kind="drying", touch_test=True, basis="measured",
                    earliest_at=at + ends_in, ends_at=at + ends_in)  # fmt: skip


def measured(scene: Scene, celsius: float, humidity: float | None = 60.0, **more: Any) -> None:
    """Add a reading of the thermometer in the workshop, just now unless said."""
    at = now()
    known: dict[str, Any] = {"place": "workshop", "at": at, "recorded_at": at, "actor": "Tam"}
    ClimateReading.objects.create(
        workshop=scene.workshop, celsius=celsius, humidity_percent=humidity, **{**known, **more}
    )


def product(scene: Scene, name: str = "Larchmoor trim balm", **more: Any) -> Product:
    """Add a product that the workshop uses."""
    known: dict[str, Any] = {"operation": "trim_dressing", "reference_minutes": 120}
    return Product.objects.create(
        workshop=scene.workshop, name=name, updated_at=now(), **{**known, **more}
    )


def forecast(scene: Scene, *, hours_old: float = 2, rain: float = 10) -> None:
    """Add a forecast of two days for the workshop."""
    at = now().replace(minute=0, second=0, microsecond=0)
    hours = [
        {
            "at": (at + HOUR * index).isoformat(),
            "celsius": 9.0,
            "humidity_percent": 70.0,
            "rain_chance_percent": rain,
        }
        for index in range(48)
    ]
    issued = now() - HOUR * hours_old
    Forecast.objects.create(
        workshop=scene.workshop, way="posted", issued_at=issued, received_at=issued, hours=hours
    )


def tag_of(html: str, opening: str) -> str:
    """Return the first tag that begins like this."""
    found = re.search(rf"<{opening}[^>]*>", html)
    assert found, opening
    return found[0]


def test_what_cures_stands_with_its_times_how_far_it_is_and_why(
    scene: Scene, tablet: Client
) -> None:
    job = worked(scene, "trim_dressing")
    clock_on(job)
    html = car_page(tablet, job)
    said = section(html, "waits")
    assert "Dress exterior trim" in said
    assert re.search(r"Done between (tomorrow )?\d\d:\d\d and (tomorrow )?\d\d:\d\d", said)
    assert "25 % done" in said
    assert "By the air that was measured, with room for when it was not." in said
    assert 'value="25"' in tag_of(html, "progress")
    assert "data-left=" in html
    assert not forms(html, "touch_test")


def test_a_clock_whose_end_is_known_has_one_time(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "trim_dressing")
    clock_on(job, earliest_at=now() + 2 * HOUR, ends_at=now() + 2 * HOUR, basis="measured")
    clock_on(job, basis="not_measured")
    WaitClock.objects.filter(basis="measured").update(earliest_at=None)
    said = section(car_page(tablet, job), "waits")
    assert re.search(r"Done at (tomorrow )?\d\d:\d\d", said)
    assert "Nobody measured the air" in said
    assert said.count("Read the thermometer") == 1
    measured(scene, 15)
    assert "Read the thermometer" not in section(car_page(tablet, job), "waits")
    assert said.count(SHEET) == 1


def test_the_bar_goes_on_from_what_was_worked_out_and_is_full_only_at_the_end(
    scene: Scene, tablet: Client
) -> None:
    job = worked(scene, "trim_dressing")
    clock = clock_on(job, progress_percent=40, worked_out_at=now() - 2 * HOUR)
    assert "70 % done" in section(car_page(tablet, job), "waits")
    WaitClock.objects.filter(pk=clock.pk).update(
        worked_out_at=now() - 100 * HOUR, ends_at=now() + timedelta(seconds=20)
    )
    assert "99 % done" in section(car_page(tablet, job), "waits")


def test_what_stands_still_says_why_and_names_no_time(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "trim_dressing")
    long_ago = now() - 100 * HOUR
    still: dict[str, Any] = {"halted": "too_cold", "ends_at": None, "worked_out_at": long_ago}
    clock_on(job, progress_percent=12, **still)
    html = car_page(tablet, job)
    said = section(html, "waits")
    assert "may stand still: too cold" in said
    assert re.search(r"Nobody can say when it is done; not before (tomorrow )?\d\d:\d\d", said)
    assert "12 % done" in said
    assert "Done at" not in said
    assert "Done between" not in said
    assert "data-until" not in tag_of(html, "progress")
    assert "Keep it from rain and frost: nobody can say until when. Leave it inside." in said


def test_the_product_that_went_on_names_its_clock(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "trim_dressing")
    clock = clock_on(job)
    balm = product(scene)
    balm_use = {"occurred_at": now(), "recorded_at": now(), "actor": "Tam"}
    clock.task.uses.create(product=balm, name="Larchmoor trim balm", clock=clock, **balm_use)
    html = car_page(tablet, job)
    assert "Larchmoor trim balm Dress exterior trim" in section(html, "waits")
    assert "Went on: Larchmoor trim balm." in words(html)


def test_what_dries_asks_a_hand_and_no_time_alone_lets_the_car_go(
    scene: Scene, tablet: Client
) -> None:
    job = moved(scene.workshop_api(), worked(scene, "wet_extraction"), "curing")
    Task.objects.filter(job_id=job["id"]).update(state="finished")
    clock = drying_on(job, ends_in=-HOUR)
    html = car_page(tablet, job)
    (form,) = forms(html, "touch_test")
    assert f'action="/api/v1/jobs/{job["id"]}/clocks/{clock.pk}/touch-tests"' in form
    answers = re.findall(r'<button[^>]*name="dry" value="(\w+)"[^>]*>([^<]+)<', tight(form))
    assert answers == [("true", "Dry"), ("false", "Still damp")]
    assert "data-due" in tag_of(html, "li data-wait")
    assert "data-waits disabled>Move to ready" in tight(html)
    assert "somebody has to feel that it is dry" in words(html)
    assert "Feel whether it is dry: wet extraction of seats and carpets" in words(html)


def test_what_dries_can_be_felt_before_its_time_as_well(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "wet_extraction")
    drying_on(job, ends_in=HOUR)
    html = car_page(tablet, job)
    assert forms(html, "touch_test")
    assert "data-due" not in tag_of(html, "li data-wait")
    assert "somebody has to feel that it is dry; it can go to" in words(html)
    assert "cures or dries until" not in words(html)


def test_once_the_last_clock_has_ended_the_page_says_so_and_what_is_next(
    scene: Scene, tablet: Client
) -> None:
    job = moved(scene.workshop_api(), worked(scene, "trim_dressing", "wet_extraction"), "curing")
    clock_on(job, ends_at=now() - HOUR)
    drying = drying_on(job, ends_in=-3 * HOUR)
    html = car_page(tablet, job)
    assert " hidden" in tag_of(html, "p[^>]*data-all-done")
    assert "done, since" not in html
    WaitClock.objects.filter(pk=drying.pk).update(closed_at=now() - timedelta(minutes=5))
    Task.objects.filter(job_id=job["id"]).update(state="finished")
    html = car_page(tablet, job)
    assert " hidden" not in tag_of(html, "p[^>]*data-all-done")
    said = words(html)
    assert "All that cured or dried on it is done, since" in said
    assert "Next: Move to ready" in said
    assert "disabled>Move to ready" not in tight(html)
    assert SHEET not in said


def test_a_coat_that_flashes_off_stands_among_what_runs_and_is_no_cure(
    scene: Scene, tablet: Client
) -> None:
    job = rich_car(scene)
    html = car_page(tablet, job)
    said = section(html, "waits")
    assert "Touch in chips coat 1, colour" in said
    assert "Nobody measured the air" in said
    WaitClock.objects.filter(job_id=job["id"]).update(ends_at=now() - HOUR)
    assert 'aria-labelledby="waits"' not in car_page(tablet, job)


def test_a_car_on_which_nothing_ever_cured_says_nothing_of_it(scene: Scene, tablet: Client) -> None:
    html = car_page(tablet, worked(scene, "polish_spot"))
    assert 'aria-labelledby="waits"' not in html


def test_a_car_says_when_it_may_stand_outside_and_why(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "trim_dressing")
    clock_on(job)
    assert "There is no forecast." in section(car_page(tablet, job), "waits")
    forecast(scene, rain=90)
    said = section(car_page(tablet, job), "waits")
    assert "Keep it from rain and frost until" in said
    assert "The chance of rain is more than 20 % before" in said


def test_before_work_that_cures_the_air_is_told_about(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "trim_dressing", "polish_spot")
    assert words(car_page(tablet, job)).count("Nobody has measured the air lately.") == 1
    measured(scene, 7, 90)
    said = words(car_page(tablet, job))
    assert "Nobody has measured the air lately." not in said
    assert "the dew point is 5.5 °C: keep at least 3 °C above it" in said
    assert "the product wants 10.0 °C or more" in said
    product(scene, apply_from_celsius=12)
    product(scene, "Fernlow trim gel", apply_from_celsius=5)
    said = words(car_page(tablet, job))
    assert "Larchmoor trim balm: The air (nobody measured the surface) has 7.0 °C" in said
    assert "the product wants 12.0 °C or more" in said
    assert "Fernlow trim gel: The air" not in said
    assert said.count("keep at least 3 °C above it") == 1


def test_in_good_air_and_after_the_work_no_caution_stands(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "trim_dressing")
    measured(scene, 18, 50)
    assert "dew point" not in words(car_page(tablet, job))
    measured(scene, 3, 95, at=now() + timedelta(seconds=1))
    assert "dew point" in words(car_page(tablet, job))
    Task.objects.filter(job_id=job["id"]).update(state="finished")
    assert "dew point" not in words(car_page(tablet, job))


def test_an_old_reading_tells_nothing_of_the_air_and_a_stuck_sensor_only_warns(
    scene: Scene, tablet: Client
) -> None:
    job = worked(scene, "trim_dressing")
    measured(scene, 3, 95, at=now() - 3 * HOUR)
    said = words(car_page(tablet, job))
    assert "dew point" not in said
    assert "Nobody has measured the air lately." in said
    measured(scene, 3, 95, mark="stuck", sensor="Bay 1")
    said = words(car_page(tablet, job))
    assert "dew point is 2.3 °C" in said
    assert "The sensor repeats one value" in said
    assert "Nobody has measured the air lately." in said


def test_a_product_can_be_named_once_work_that_cures_has_begun(
    scene: Scene, tablet: Client
) -> None:
    job = worked(scene, "trim_dressing", "polish_spot")
    start = f"/jobs/{job['id']}/tasks/{task_of(job, 'trim_dressing').pk}/start"
    done(person_api(scene.valeter).post(start))
    assert not forms(car_page(tablet, job), "use")
    balm = product(scene)
    product(scene, "Any surface wax", operation="")
    product(scene, "Rubber black", operation="tyre_dressing")
    product(scene, "Old balm", hidden=True)
    (form,) = forms(car_page(tablet, job), "use")
    assert f'action="/api/v1/jobs/{job["id"]}/uses"' in form
    assert f'name="task_id" value="{task_of(job, "trim_dressing").pk}"' in form
    assert re.findall(r"<option[^>]*>([^<]+)<", form) == ["Any surface wax", "Larchmoor trim balm"]
    assert f'value="{balm.pk}"' in form
