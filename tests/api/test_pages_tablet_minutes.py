"""What the tablet asks about dirt and minutes, and what its pages cost."""

import re
from datetime import timedelta
from html import unescape
from typing import Any

from django.test import Client
from pytest_django import DjangoAssertNumQueries

from core.clock import now
from jobs.work.calc.minutes.soiling import LEVELS
from jobs.work.models import ClimateSetup, Job, Task
from tests.api.looked import MOST_QUERIES, page
from tests.api.steps import arrived, detail, done
from tests.api.test_pages_tablet import forms, rich_car
from tests.api.test_pages_tablet_time import (
    FORM,
    HOUR,
    car_page,
    clock_on,
    drying_on,
    forecast,
    measured,
    product,
    section,
    tablet,
    task_of,
    words,
    worked,
)
from tests.scene import Scene, person_api

__all__ = ["tablet"]  # the fixtures, for pytest to find


def test_how_dirty_it_came_in_is_five_choices_and_then_what_was_said(
    scene: Scene, tablet: Client
) -> None:
    job = arrived(scene)
    html = car_page(tablet, job)
    (form,) = forms(html, "soiling")
    assert re.findall(r'name="level" value="(\d)"', form) == ["1", "2", "3", "4", "5"]
    assert form.count("<svg") == len(LEVELS)
    for level in LEVELS.values():
        assert level.name in form
        assert level.words in form
    assert "<details open>" in html[html.index("data-soiling") :]
    Job.objects.filter(pk=job["id"]).update(soiling=4)
    html = car_page(tablet, job)
    assert f"{LEVELS[4].name} (4 of 5)" in section(html, "soiling")
    assert f"Came in {LEVELS[4].name} (4 of 5)" in words(html)
    assert 'data-level="4"' in html
    assert re.search(r'value="4"[^>]* checked', html)
    Job.objects.filter(pk=job["id"]).update(stage="ready")
    assert not forms(car_page(tablet, job), "soiling")


def test_minutes_in_doubt_are_asked_about_until_somebody_said(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "polish_spot")
    task = task_of(job, "polish_spot")
    changes: dict[str, Any] = {"state": "finished", "actual_minutes": 612, "finished_at": now()}
    Task.objects.filter(pk=task.pk).update(**changes)
    assert not forms(car_page(tablet, job), "minutes")
    Task.objects.filter(pk=task.pk).update(doubt="asked")
    html = car_page(tablet, job)
    assert "612 minutes: is that right?" in words(html)
    right, typed = forms(html, "minutes")
    assert 'name="right" value="true" data-type="bool"' in right
    assert 'name="minutes" data-type="number"' in typed
    for form in (right, typed):
        assert f'action="/api/v1/jobs/{job["id"]}/tasks/{task.pk}/minutes"' in form
    Task.objects.filter(pk=task.pk).update(doubt="right")
    assert not forms(car_page(tablet, job), "minutes")


def test_a_clock_of_less_than_a_minute_is_asked_how_long_it_took(
    scene: Scene, tablet: Client
) -> None:
    job = worked(scene, "polish_spot")
    task = task_of(job, "polish_spot")
    path = f"/jobs/{job['id']}/tasks/{task.pk}"
    done(person_api(scene.valeter).post(f"{path}/start"))
    done(person_api(scene.valeter).post(f"{path}/finish"))
    html = car_page(tablet, job)
    assert "How long did it take? The clock ran for less than a minute." in words(html)
    (form,) = forms(html, "minutes")
    assert 'name="minutes" data-type="number"' in form
    done(person_api(scene.valeter).post(f"{path}/minutes", {"minutes": 20}))
    assert not forms(car_page(tablet, job), "minutes")


def test_the_board_leads_to_the_air(tablet: Client) -> None:
    assert 'href="/tablet/climate"' in page(tablet, "/tablet/")


def test_a_workshop_without_readings_or_forecast_is_told_so(tablet: Client) -> None:
    html = page(tablet, "/tablet/climate")
    said = words(html)
    assert said.count("Nobody has measured here yet.") == 2
    assert "There is none." in section(html, "forecast")
    (form,) = forms(html, "reading")
    assert 'action="/api/v1/workshop/climate"' in form
    assert 'data-time="at"' in form
    assert 'data-lowest="-40.0" data-highest="60.0"' in form
    fields = re.findall(r'name="(\w+)"', form)
    assert fields == ["place", "place", "celsius", "humidity_percent", "surface_celsius"]


def test_the_last_readings_stand_with_age_dew_point_and_what_is_doubtful(
    scene: Scene, tablet: Client
) -> None:
    measured(scene, 20, 80, at=now() - 3 * HOUR, sensor="Bay 1", mark="stuck")
    measured(scene, 12, 90, at=now() - timedelta(minutes=130))
    measured(scene, 1, 95, place="outside")
    html = page(tablet, "/tablet/climate")
    here = section(html, "now-workshop")
    assert "12 °C, 90 % 2 hours ago, Tam, by hand" in here
    assert "More than two hours old" in here
    assert "Dew point 10.4 °C. A panel as warm as the air is 1.6 °C above it: too near" in here
    assert "Frost is likely." in section(html, "now-outside")
    last = section(html, "last")
    assert "Bay 1 the sensor repeats one value: only cold and damp count" in last
    assert last.index("1 °C, 95 %") < last.index("12 °C") < last.index("20 °C")
    measured(scene, 18, 50, surface_celsius=17)
    here = section(page(tablet, "/tablet/climate"), "now-workshop")
    assert "The panel is 9.6 °C above it: far enough for what cures." in here
    assert "More than two hours old" not in here
    measured(scene, 8, 95, at=now() + timedelta(seconds=1))
    here = section(page(tablet, "/tablet/climate"), "now-workshop")
    assert "the dew point is 7.2 °C: keep at least 3 °C above it" in here


def test_the_forecast_stands_with_its_age_and_what_went_wrong_since(
    scene: Scene, tablet: Client
) -> None:
    forecast(scene, hours_old=14, rain=35)
    ClimateSetup.objects.create(workshop=scene.workshop, forecast_problem="It answered 503.")
    said = section(page(tablet, "/tablet/climate"), "forecast")
    assert "Made 14 hours ago" in said
    assert "It is old: look at the sky as well." in said
    assert "It answered 503. The one below is the last good one." in said
    assert said.count("35 %") == 12


def test_another_workshops_air_and_products_are_nowhere(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "trim_dressing")
    start = f"/jobs/{job['id']}/tasks/{task_of(job, 'trim_dressing').pk}/start"
    done(scene.workshop_api().post(start))
    scene.account = scene.stranger_account
    measured(scene, 3, 95)
    forecast(scene, rain=90)
    product(scene, "Strange balm")
    html = page(tablet, "/tablet/climate") + car_page(tablet, job)
    assert "Strange balm" not in html
    assert "95 %" not in words(html)
    assert "90 %" not in words(html)
    assert "dew point is" not in words(html)


def test_every_text_of_a_product_or_sensor_is_shown_as_text(scene: Scene, tablet: Client) -> None:
    bad = "<script>alert(1)</script>"
    job = worked(scene, "trim_dressing")
    Task.objects.filter(job_id=job["id"]).update(state="started")
    product(scene, bad)
    measured(scene, 3, 95, sensor=bad, actor=bad)
    html = car_page(tablet, job) + page(tablet, "/tablet/climate")
    assert bad not in html
    assert unescape(html).count(bad) >= 4


def test_the_pages_take_a_fixed_number_of_queries(
    scene: Scene, tablet: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    job = rich_car(scene)
    address = f"/tablet/cars/{job['id']}"
    with django_assert_num_queries(MOST_QUERIES):
        page(tablet, address)
    everything_on(scene, job)
    with django_assert_num_queries(MOST_QUERIES):
        page(tablet, address)
    with django_assert_num_queries(9):  # three to know who asks, six of the air
        page(tablet, "/tablet/climate")


def everything_on(scene: Scene, job: Any) -> None:
    """Add several people on a task, several clocks, readings, a forecast and products."""
    task = task_of(job, "touch_in")
    for person in (scene.valeter, scene.manager):
        done(person_api(person).post(f"/jobs/{job['id']}/tasks/{task.pk}/start"))
    for index in range(6):
        measured(scene, 12 + index, at=now() - index * HOUR)
        product(scene, f"Product {index}", operation="touch_in")
        clock_on(job, "touch_in")
    forecast(scene)


def test_everybody_who_is_on_a_task_is_named_once(scene: Scene, tablet: Client) -> None:
    job = worked(scene, "trim_dressing", "polish_spot")
    for person in (scene.manager, scene.valeter):
        path = f"/jobs/{job['id']}/tasks/{task_of(job, 'trim_dressing').pk}/start"
        done(person_api(person).post(path))
    html = car_page(tablet, job)
    assert f"{scene.manager.name}, {scene.valeter.name}" in words(html)
    for step, body in (("start", {}), ("finish", {"done": False})):
        path = f"/jobs/{job['id']}/tasks/{task_of(job, 'polish_spot').pk}/{step}"
        done(person_api(scene.owner).post(path, body))
    html = car_page(tablet, job)
    assert scene.owner.name not in words(html)
    assert html.count('<li data-task="') == len(detail(scene.workshop_api(), job)["tasks"]) == 2


def test_every_kind_of_action_of_a_page_is_told_once_to_whoever_reads_the_tests(
    scene: Scene, tablet: Client
) -> None:
    job = worked(scene, "wet_extraction")
    drying_on(job, ends_in=HOUR)
    assert set(FORM.findall(car_page(tablet, job))) >= {"touch_test", "soiling", "move"}
    assert FORM.findall(page(tablet, "/tablet/climate")) == ["reading"]
