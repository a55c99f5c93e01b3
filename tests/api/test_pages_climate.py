"""The air at the desk: what was measured and forecast, what waits for it, and touch tests."""

from datetime import datetime, timedelta

import pytest
import time_machine
from django.test import Client

from accounts.caller import Caller, Side
from core.clock import now
from jobs.work.models import ClimateReading, ClimateSetup, WaitClock
from jobs.work.services.air.readings import Measured, readings_take
from jobs.work.tasks import settle_clocks
from tests.api.air import foretold, text
from tests.api.clock_steps import EIGHT, after, in_curing, measured
from tests.api.desk import signed_in, text_of
from tests.api.looked import section, words
from tests.api.steps import done
from tests.figures import without_ids
from tests.scene import Scene

pytestmark = pytest.mark.django_db


def air(desk: Client) -> str:
    """Return the page about the air as HTML."""
    answer = desk.get("/desk/climate")
    assert answer.status_code == 200
    return str(answer.content.decode())


def forecast(scene: Scene, celsius: float = 9.0) -> None:
    """Send a dry forecast for two days, made now."""
    foreseen = foretold(
        *[celsius] * 48, issued_at=text(now()), humidity_percent=60, rain_chance_percent=5
    )
    done(scene.workshop_api().post("/workshop/climate", {"forecast": foreseen}))


def test_nothing_measured_says_how_clocks_reckon_and_what_to_do(scene: Scene) -> None:
    page = words(air(signed_in(scene.manager)))
    assert page.count("Nobody has measured here yet.") == 2
    assert "Clocks then reckon with 15 to 20 °C in the workshop." in page
    assert "POST /api/v1/workshop/climate" in page
    assert "There is no forecast." in page
    assert "Nothing cures or dries on the cars that are here." in page


def test_the_air_now_has_dew_point_margin_drying_and_frost_in_plain_words(scene: Scene) -> None:
    """Dew points of 20 °C / 50 % and 5 °C / 80 %: psychrolib 2.5.0 has 9.272 and 1.841 °C."""
    with time_machine.travel(EIGHT, tick=False):
        measured(scene, (after(minutes=-20), 20.0), humidity=50)
        done(scene.workshop_api().post(
            "/workshop/climate",
            {"celsius": 2.0, "humidity_percent": 90, "place": "outside", "sensor": "Yard",
             "at": after(hours=-3).isoformat()}))  # fmt: skip
        now = section(air(signed_in(scene.manager)), "now")
    inside, outside = now.split("Outside")
    assert "20.0 °C , 50 % humidity 20 minutes ago" in inside
    assert "Dew point 9.3 °C" in inside
    assert "Air above it 10.7 °C" in inside
    assert "dries well" in inside
    assert "Frost none" in inside
    assert "3 hours ago" in outside
    assert "the sensor “Yard”" in outside
    assert "hardly dries" in outside
    assert "Frost likely" in outside
    assert "clocks reckon with a range" not in now


def test_a_cold_panel_near_the_dew_point_is_warned_of_before_coating(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    desk.post("/desk/climate", {"place": "workshop", "celsius": "12", "humidity_percent": "80",
                                "surface_celsius": "10"})  # fmt: skip
    now = section(air(desk), "now")
    assert "Do not coat now. The surface has 10.0 °C and the dew point is 8.7 °C" in now
    assert "Panel above it 1.3 °C" in now


def test_a_reading_older_than_two_hours_says_that_clocks_reckon_with_a_range(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        measured(scene, (EIGHT, 14.0))
        clock.move_to(after(hours=2))
        assert "reckon with a range" not in air(signed_in(scene.manager))
        clock.move_to(after(hours=2, minutes=1))
        assert "reckon with a range" in air(signed_in(scene.manager))


def test_a_reading_by_hand_is_taken_and_makes_the_clocks_due(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    typed = {"place": "workshop", "celsius": "12.4", "humidity_percent": "71", "at": ""}
    page = text_of(desk.post("/desk/climate", typed, follow=True))
    assert "The reading is written down; what cures or dries is worked out anew with it." in page
    row = ClimateReading.objects.get()
    assert (row.celsius, row.humidity_percent, row.place) == (12.4, 71.0, "workshop")
    assert (row.sensor, row.actor, row.surface_celsius) == ("", "Milo Treen", None)
    assert ClimateSetup.objects.get().clocks_due is True


def test_a_reading_outside_moves_no_clock(scene: Scene) -> None:
    desk = signed_in(scene.manager)
    page = text_of(desk.post("/desk/climate", {"place": "outside", "celsius": "-3"}, follow=True))
    assert "The reading is written down." in page
    assert ClimateSetup.objects.get().clocks_due is False


def test_every_wrong_figure_is_named_beside_its_field_and_what_was_typed_stays(
    scene: Scene,
) -> None:
    desk = signed_in(scene.manager)
    typed = {"place": "outside", "celsius": "-60", "humidity_percent": "140",
             "surface_celsius": "warm", "at": "2999-01-01T10:00"}  # fmt: skip
    page = text_of(desk.post("/desk/climate", typed), 400)
    for name in ("celsius", "humidity_percent", "surface_celsius", "at"):
        assert f'id="{name}-wrong"' in page
        assert f'value="{typed[name]}"' in page
    assert 'value="outside" checked' in page
    assert "140 % is not plausible" in page
    assert not ClimateReading.objects.exists()


def test_another_value_for_a_moment_that_stands_is_refused_beside_the_time(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        desk = signed_in(scene.manager)
        typed = {"place": "workshop", "celsius": "12", "at": "2027-03-01T07:30"}
        desk.post("/desk/climate", typed)
        again = text_of(desk.post("/desk/climate", typed, follow=True))
        assert "This reading stood already." in again
        page = text_of(desk.post("/desk/climate", {**typed, "celsius": "14"}), 400)
    assert "Another reading" in page
    assert 'id="at-wrong"' in page
    assert 'name="celsius" type="text" autocomplete="off" value="14"' in page
    assert ClimateReading.objects.get().celsius == 12.0


def test_the_last_day_is_drawn_and_told_hour_by_hour_with_what_is_doubtful_and_why(
    scene: Scene,
) -> None:
    caller = Caller(scene.workshop.pk, Side.WORKSHOP, frozenset(), "The gauges")
    with time_machine.travel(EIGHT, tick=False):
        repeated = [
            Measured(after(hours=-h), 21.0, 50.0, sensor="Bay 3") for h in range(26, -1, -1)
        ]
        hand = [Measured(after(hours=-h), 10.0 + h, 60.0) for h in (1, 3, 2)]
        outside = [Measured(after(hours=-2), -1.0, place="outside")]
        readings_take(caller=caller, measured=[*repeated, *hand, *outside])
        answer = signed_in(scene.manager).get("/desk/climate")
    temperature, humidity = answer.context["charts"]
    inside, out = temperature.lines
    assert (temperature.top, temperature.bottom, temperature.freezing_y) == (22, -2, 183)
    assert inside.path.count("L") == 2  # three of them joined; the stuck ones are dots of their own
    assert inside.stuck.count("h0") == 25
    assert (out.path, out.dots.count("h0")) == ("", 1)
    assert [line.place for line in humidity.lines] == ["workshop"]
    day = section(answer.content.decode(), "day").replace("&nbsp;", " ")
    repeats = "1 reading of “Bay 3” repeated: only cold and damp count"
    assert f"Mon 07:00 11.0 °C, 60 % {repeats}" in day
    assert "Mon 06:00 12.0 °C, 60 % 1 reading came late" in day
    assert "The sensor has repeated one value for 24 hours or more" in day
    assert "It came after later readings of this sensor; it is used all the same." in day


def test_a_line_breaks_where_nobody_measured_for_more_than_two_hours(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        measured(scene, *[(after(hours=-h), 12.0) for h in (9, 8, 6, 3.9, 1)])
        answer = signed_in(scene.manager).get("/desk/climate")
    (line,) = answer.context["charts"][0].lines
    assert (line.path.count("M"), line.path.count("L"), line.dots.count("h0")) == (1, 2, 2)


def test_the_forecast_has_its_age_its_hours_and_what_an_old_one_means(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        forecast(scene, 1.5)
        clock.move_to(after(hours=3))
        ahead = section(air(signed_in(scene.manager)), "ahead")
        assert "(3 hours ago)" in ahead
        assert "Mon 11:00 1.5 60 % 5 % possible" in ahead
        assert "Mon 10:00" not in ahead
        assert "21 more hours are known." in ahead
        assert "too old" not in ahead
        clock.move_to(after(hours=13))
        ahead = section(air(signed_in(scene.manager)), "ahead")
        assert "too old" in ahead
        clock.move_to(after(hours=49))
        assert "All its hours are over." in section(air(signed_in(scene.manager)), "ahead")


def test_a_forecast_that_could_not_be_fetched_says_why_and_what_to_do(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        forecast(scene)
        ClimateSetup.objects.update_or_create(
            workshop=scene.workshop,
            defaults={
                "forecast_url": "https://weather.brackmoor.example/f.json",
                "forecast_problem": "The receiver answered 503.",
                "forecast_tried_at": after(minutes=-5),
                "forecast_next_at": after(minutes=5),
            },
        )
        ahead = section(air(signed_in(scene.manager)), "ahead")
    assert "The last try brought nothing , 07:55 : The receiver answered 503." in ahead
    assert "Open the address in a browser" in ahead
    assert "tried again by itself, 08:05" in ahead
    assert "Until then the last good forecast stays. No clock waits for it." in ahead


def test_what_a_workshop_chooses_is_kept_and_shown(scene: Scene) -> None:
    desk = signed_in(scene.owner)
    url = "https://weather.brackmoor.example/f.json"
    typed = {"ready_by_itself": "on", "air": "blower", "forecast_url": url}
    page = text_of(desk.post("/desk/climate/set-up", typed, follow=True))
    assert "Saved. The forecast is fetched within a minute" in page
    setup = ClimateSetup.objects.get(workshop=scene.workshop)
    assert (setup.ready_by_itself, setup.air, setup.forecast_url) == (True, "blower", url)
    assert 'id="air-blower" name="air" value="blower" checked' in page
    assert f'value="{url}"' in page
    page = text_of(desk.post("/desk/climate/set-up", {"air": "still", "forecast_url": ""},
                             follow=True))  # fmt: skip
    setup.refresh_from_db()
    assert (setup.ready_by_itself, setup.forecast_url) == (False, "")
    assert "Saved. The forecast" not in page


def test_an_address_that_can_never_be_fetched_is_refused_beside_its_field(scene: Scene) -> None:
    desk = signed_in(scene.owner)
    typed = {"ready_by_itself": "on", "air": "fan", "forecast_url": "ftp://weather.example/f"}
    page = text_of(desk.post("/desk/climate/set-up", typed), 400)
    assert 'id="forecast_url-wrong"' in page
    assert 'value="ftp://weather.example/f"' in page
    assert 'name="ready_by_itself" checked' in page
    assert not ClimateSetup.objects.filter(ready_by_itself=True).exists()


def test_the_address_has_to_answer_what_the_page_shows(scene: Scene) -> None:
    with time_machine.travel(datetime.fromisoformat("2027-03-01T08:30:00Z"), tick=False):
        answer = signed_in(scene.owner).get("/desk/climate")
        sent = f'{{"forecast": {answer.context["shape"]}}}'
        taken = done(scene.workshop_api().post("/workshop/climate", sent))
    assert taken["forecast"]["outcome"] == "taken"


def test_no_page_of_another_workshop_shows_our_air(scene: Scene) -> None:
    measured(scene, (EIGHT - timedelta(days=1), 33.3))
    in_curing(scene, "wet_extraction")
    stranger = scene.owner
    stranger.organisation = scene.stranger_workshop
    stranger.save()
    answer = signed_in(stranger).get("/desk/climate")
    assert answer.context["waits"] == []
    assert "33.3" not in without_ids(answer.content)


def test_what_cures_on_a_cancelled_car_that_stands_here_is_shown_on(scene: Scene) -> None:
    """Its order is over, and nobody waits for its clocks; the car still must not go out."""
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
        clock.move_to(after(minutes=1))
        settle_clocks()
        assert WaitClock.objects.get().settled_at is not None
        waits = section(air(signed_in(scene.manager)), "waits")
    assert "TU21 ABC" in waits
