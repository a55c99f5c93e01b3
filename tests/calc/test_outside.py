"""The earliest safe time outside: what decides it, and that no earlier minute would do."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.work.calc.air.climate import Frost, frost_risk, surface_margin
from jobs.work.calc.air.forecasts import ForecastHour
from jobs.work.calc.curing.cure import Basis, Cure, Estimate, Halted, cure_estimate
from jobs.work.calc.curing.outside import Code, Outside, RunningClock, earliest_outside
from jobs.work.calc.curing.outside_words import outside_words
from tests.calc.air import START, after, reading

DRESSING = Cure(180)


def estimate(minutes: float, halted: Halted = Halted.NO) -> Estimate:
    return Estimate(after(minutes), after(minutes), 0, Basis.MEASURED, halted)


STANDS_STILL = Estimate(None, None, 0, Basis.MEASURED, Halted.TOO_COLD)


def cures(
    minutes: float = 180, name: str = "Trim dressing", cure: Cure = DRESSING, percent: int = 0
) -> RunningClock:
    return RunningClock("cure", cure, estimate(minutes), percent, touch_test=False, name=name)


def dries(minutes: float, name: str = "Wet extraction") -> RunningClock:
    return RunningClock("drying", None, estimate(minutes), 0, touch_test=True, name=name)


def flashes_off(minutes: float, name: str = "Wing, base coat") -> RunningClock:
    return RunningClock("flash_off", None, estimate(minutes), 0, touch_test=False, name=name)


def hour(number: int, rain: float | None = 0, celsius: float = 15) -> ForecastHour:
    return ForecastHour(after(60 * number), celsius, 60, rain)


def forecast(*rain: float | None, celsius: float = 15) -> list[ForecastHour]:
    return [hour(number, chance, celsius) for number, chance in enumerate(rain)]


def told(
    waits: list[RunningClock], hours: list[ForecastHour], minute: float = 0, age_hours: float = 1
) -> Outside:
    at = after(minute)
    found = earliest_outside(
        waits, hours, at=at, forecast_issued_at=at - timedelta(hours=age_hours)
    )
    assert re.search(r"\d{1,2}:\d\d", found.reason) is None  # callers say times in local time
    assert found.reason.endswith(".")
    assert found.at is None or found.at >= at
    if found.rain is not None:
        assert found.rain.most_percent <= 20 + 1e-6
        assert found.rain.least_percent <= found.rain.worst_hour_percent <= found.rain.most_percent
        assert found.at is not None
        assert found.cured_outside_at is not None
        assert found.cured_outside_at >= found.at
    return found


DRY = forecast(*[0] * 12)


# Where no forecast is needed


def test_a_car_on_which_nothing_runs_goes_outside_at_once() -> None:
    assert told([], forecast(100)).code == Code.NOTHING_WAITS
    ended = told([cures(180), flashes_off(20)], forecast(*[100] * 12), minute=180)
    assert (ended.at, ended.code) == (after(180), "nothing_waits")


def test_a_touch_test_that_is_due_comes_first() -> None:
    found = told([cures(600), dries(60)], DRY, minute=61)
    assert (found.at, found.code) == (None, "touch_test")
    assert found.reason == "Somebody has to feel whether it is dry: “Wet extraction”."


def test_what_dries_stays_inside_until_its_end_and_is_felt_then() -> None:
    found = told([dries(240)], DRY)
    assert (found.at, found.code) == (after(240), "clock")
    assert found.reason == (
        "“Wet extraction” will have dried inside by then. "
        "Before that somebody has to feel whether it is dry: “Wet extraction”."
    )


def test_what_flashes_off_stays_inside_until_its_end() -> None:
    assert told([flashes_off(20)], DRY).at == after(20)


def test_without_a_forecast_the_last_clock_decides() -> None:
    waits = [cures(120), cures(180, "Tyre dressing")]
    for hours, issued_at in (([], START), (DRY, None)):
        found = earliest_outside(waits, hours, at=START, forecast_issued_at=issued_at)
        assert (found.at, found.code) == (after(180), "no_forecast")
        assert (
            found.reason == "There is no forecast. “Tyre dressing” will have cured inside by then."
        )


def test_a_forecast_of_more_than_twelve_hours_ago_says_nothing() -> None:
    assert told([cures()], DRY, age_hours=12).code == "fine"
    old = told([cures()], DRY, age_hours=13.5)
    assert (old.at, old.code) == (after(180), "old_forecast")
    assert old.reason.startswith("The forecast is 13 hours old. ")


# With a forecast


def test_in_fine_weather_it_cures_outside_from_now_on() -> None:
    found = told([cures()], DRY)
    assert (found.at, found.code) == (START, "fine")
    assert found.reason == (
        "The chance of rain until “Trim dressing” has cured outside is 0 %, with neither frost "
        "nor dew in the forecast."
    )


def test_rain_just_after_it_has_cured_does_no_harm() -> None:
    assert told([cures()], forecast(0, 0, 20, 21)).code == "fine"
    assert told([cures()], forecast(0, 0, 21)).code == "rain"


def test_rain_before_it_has_cured_keeps_the_car_inside() -> None:
    found = told([cures()], forecast(0, 0, 80, 80))
    assert (found.at, found.code, found.hour_at) == (after(180), "rain", after(120))
    assert found.reason == (
        "The chance of rain is more than 20 % before “Trim dressing” would have cured outside. "
        "“Trim dressing” will have cured inside by then."
    )


def test_after_the_rain_it_may_cure_outside_for_the_rest() -> None:
    found = told([cures(300)], forecast(90, 0, 0, 0, 0, 0))
    assert (found.at, found.code, found.hour_at) == (after(60), "rain", START)
    assert found.reason == (
        "The chance of rain is more than 20 % before “Trim dressing” would have cured outside; "
        "later the chance of rain until “Trim dressing” has cured outside is 0 %, with neither "
        "frost nor dew in the forecast."
    )


def test_the_moment_from_which_a_dry_spell_suffices_is_exact() -> None:
    """Three dry hours at 5 °C, half as fast; inside it takes 90 minutes more.

    At minute t 180 (1 - t / 90) are left and (180 - t) / 2 are given, the same at t = 60.
    """
    cool = forecast(0, 0, 0, 90, 90, 90, celsius=5)
    found = told([cures(90)], cool)
    assert found.at is not None
    assert abs(found.at - after(60)) < timedelta(seconds=1)


def test_the_moment_is_exact_where_the_hours_differ_too() -> None:
    """An hour at half the rate, one at twice; inside it takes 100 minutes more.

    At minute t of the first 180 - 1.8 t are left and 30 - t / 2 + 120 given: the same at 30 / 1.3.
    """
    found = told([cures(100)], [hour(0, celsius=5), hour(1, celsius=25), hour(2, rain=90)])
    assert found.at is not None
    assert abs(found.at - after(30 / 1.3)) < timedelta(seconds=1)


def test_two_cures_go_outside_when_the_spell_suffices_for_both() -> None:
    """As above one suffices from 60 on, and 150 (1 - t / 90) <= (180 - t) / 2 from 51.4 on."""
    cool = forecast(0, 0, 0, 90, 90, 90, celsius=5)
    dressing, sealant = cures(90), cures(90, "Sealant", Cure(150))
    for waits in ([dressing, sealant], [sealant, dressing]):
        found = told(waits, cool)
        assert found.at is not None
        assert abs(found.at - after(60)) < timedelta(seconds=1)


def test_what_suffices_for_one_too_late_for_another_does_not_count() -> None:
    """One wants 60 minutes inside first; the other, slow inside, has to be out within 31."""
    first, slow = cures(100, cure=Cure(300)), cures(10_000, "Sealant", Cure(150))
    found = told([first, slow], forecast(0, 0, 0, 90, 90, 90))
    assert (found.at, found.code) == (after(10_000), "rain")


def test_frost_keeps_the_car_inside() -> None:
    found = told([cures()], [hour(0), hour(1), hour(2, celsius=2), hour(3)])
    assert (found.at, found.code, found.hour_at) == (after(180), "frost", after(120))
    assert found.reason.startswith("Frost is possible before ")


def test_twelve_hours_of_twenty_per_cent_each_are_not_dry() -> None:
    """One shower among them ruins it, and all that is known is that it may be certain."""
    twelve = cures(800, cure=Cure(720))
    found = told([twelve], forecast(*[20] * 12))
    assert (found.at, found.code, found.hour_at) == (after(800), "rain", after(60))
    assert found.reason.startswith(
        "The chances of rain add up to more than 20 % before “Trim dressing” would have cured "
    )
    assert found.rain is None
    for_an_hour = told([cures(60, cure=Cure(60))], forecast(*[20] * 12))
    assert (for_an_hour.at, for_an_hour.code) == (after(0), "fine")
    assert "is at most 20 %, with" in for_an_hour.reason


def test_the_chance_of_rain_of_the_whole_spell_is_told_with_its_bounds() -> None:
    """Boole's inequality: between that of the worst hour and all of them added up."""
    found = told([cures()], forecast(5, 10, 5, 90))
    assert (found.at, found.code, found.cured_outside_at) == (after(0), "fine", after(180))
    assert found.rain is not None
    assert (found.rain.least_percent, found.rain.most_percent) == (10, 20)
    assert "at most 10 % in any hour and 10 to 20 % in all, with neither frost" in found.reason


def test_the_spell_begins_where_the_chances_add_up_to_little_enough() -> None:
    """The first hours have too much together; from the second on what is left fits."""
    found = told([cures(900, cure=Cure(180))], forecast(15, 10, 5, 5, 5, 90))
    assert found.code == "rain"
    assert found.at is not None
    assert found.at == after(60)
    assert found.rain is not None
    assert found.rain.most_percent <= 20


def test_a_clear_sky_cools_the_car_for_dew_as_for_frost() -> None:
    """At 10 °C and 75 % the air lies 4.2 K above the dew point, a car under a clear sky 0.2 K."""
    margin = surface_margin(10, 75)
    assert 4 < margin < 7
    moist = [ForecastHour(after(60 * number), 10, 75, 0) for number in range(12)]
    assert told([cures()], moist).code == "dew"
    dry = [ForecastHour(after(60 * number), 10, 55, 0) for number in range(12)]
    assert told([cures()], dry).code == "fine"


def test_it_is_kept_dry_until_it_has_cured_and_out_there_for_as_long_as_that_takes() -> None:
    cool = told([cures(90)], forecast(*[0] * 12, celsius=7))
    assert cool.at == after(0)
    assert cool.keep_dry_until == after(90)
    assert cool.cured_outside_at is not None
    assert cool.cured_outside_at > after(180)  # slower than at the reference
    told_text = outside_words(cool, lambda moment: f"{moment:%H:%M}")
    assert told_text.startswith("Keep it from rain and frost until ")
    assert f"out there it has cured by {cool.cured_outside_at:%H:%M}." in told_text


def test_nobody_says_until_when_where_it_stands_still() -> None:
    halted = replace(cures(), estimate=STANDS_STILL)
    text = outside_words(told([halted], forecast(*[90] * 12)), str)
    assert text.startswith(
        "Keep it from rain and frost: nobody can say until when. Leave it inside. The chance of"
    )


def test_air_near_its_dew_point_keeps_the_car_inside() -> None:
    moist = replace(hour(1), humidity_percent=95)
    found = told([cures()], [hour(0), moist])
    assert (found.at, found.code, found.hour_at) == (after(180), "dew", after(60))


def test_what_the_forecast_does_not_say_counts_as_not_fit() -> None:
    unknown = told([cures()], [hour(0), hour(1, rain=None)])
    assert (unknown.at, unknown.code, unknown.hour_at) == (after(180), "not_forecast", after(60))
    assert unknown.reason.startswith(
        "The forecast does not say enough for as long as “Trim dressing” would cure outside. "
    )
    silent = [replace(dry_hour, humidity_percent=None) for dry_hour in DRY]
    assert told([cures()], silent).code == "not_forecast"
    assert told([cures()], DRY[:2]).code == "not_forecast"  # it ends too early
    assert told([cures()], [hour(0), hour(2)]).code == "not_forecast"  # with a hole
    assert told([cures()], DRY[5:]).code == "not_forecast"  # it begins too late


def test_after_a_hole_in_the_forecast_nothing_counts() -> None:
    found = told([cures()], [hour(0), hour(2, rain=90)])
    assert (found.code, found.hour_at) == ("not_forecast", None)


def test_a_forecast_by_the_half_hour_is_taken_as_it_is() -> None:
    half_hours = [
        ForecastHour(after(30 * number), 15, 60, rain) for number, rain in enumerate((0, 90, 0, 0))
    ]
    found = told([cures(40, cure=Cure(40))], half_hours)
    assert (found.at, found.code, found.hour_at) == (after(40), "rain", after(30))


def test_two_words_on_one_hour_are_not_added_up() -> None:
    assert told([cures()], [hour(0), hour(0), hour(0)]).code == "not_forecast"


def test_weather_before_the_seats_are_dry_decides_nothing() -> None:
    hours = [hour(0, rain=90), hour(1), hour(2), hour(3, celsius=1), hour(4)]
    found = told([cures(400, cure=Cure(400)), flashes_off(60)], hours)
    assert (found.code, found.hour_at) == ("frost", after(180))


def test_where_it_is_too_cold_outside_to_cure_that_is_said() -> None:
    cold = forecast(*[0] * 12, celsius=4.5)  # no frost, but below 5 °C
    found = told([cures()], cold)
    assert (found.at, found.code) == (after(180), "too_cold")
    assert found.reason.startswith("It is too cold outside for “Trim dressing” to cure. ")


def test_a_seat_that_dries_comes_before_a_cure_that_could_go_outside() -> None:
    found = told([cures(300), dries(120)], DRY)
    assert (found.at, found.code) == (after(120), "clock")
    assert found.reason.startswith(
        "“Wet extraction” must have dried; then the chance of rain until "
    )
    assert found.reason.endswith("feel whether it is dry: “Wet extraction”.")


def test_when_the_cures_end_before_the_drying_that_alone_decides() -> None:
    found = told([cures(100), dries(120)], forecast(*[100] * 12))
    assert (found.at, found.code) == (after(120), "clock")


def test_every_cure_has_to_end_before_the_rain() -> None:
    slow = cures(400, "Sill paint", Cure(400))
    rain_after_four_hours = forecast(0, 0, 0, 0, 90, 90, 90, 90)
    assert told([cures()], rain_after_four_hours).code == "fine"
    found = told([cures(), slow], rain_after_four_hours)
    assert (found.at, found.code) == (after(400), "rain")
    assert "before “Trim dressing” and “Sill paint” would have cured" in found.reason


def test_what_is_done_already_counts() -> None:
    half = cures(90, percent=50)
    assert told([half], forecast(0, 20, 90)).at == START
    assert told([replace(half, progress_percent=0)], forecast(0, 20, 90)).at != START


# What stands still


def test_what_stands_still_inside_has_no_time_unless_the_forecast_gives_one() -> None:
    halted = replace(cures(), estimate=STANDS_STILL)
    found = told([halted], forecast(*[90] * 12))
    assert (found.at, found.code) == (None, "halted")
    assert found.reason.endswith(
        "Nobody can say when “Trim dressing” will be done inside: it is too cold."
    )
    assert told([halted], DRY).code == "fine"


def test_what_stands_still_inside_needs_all_its_minutes_outside() -> None:
    halted = replace(cures(), estimate=STANDS_STILL)
    assert told([halted], forecast(90, 0, 0, 90)).at is None
    assert told([halted], forecast(90, 0, 0, 0, 90)).at == after(60)


def test_what_may_stand_still_is_told_so() -> None:
    at = after(0)
    open_end = cure_estimate(DRESSING, [reading(-200, 3)], started_at=at, at=at)
    assert open_end.halted is Halted.TOO_COLD
    found = told([replace(cures(), estimate=open_end)], [])
    assert found.reason == (
        "There is no forecast. Nobody can say when “Trim dressing” will be done inside: "
        "it may get too cold."
    )


def test_a_seat_that_does_not_dry_has_no_time_at_all() -> None:
    damp = replace(dries(0), estimate=replace(STANDS_STILL, halted=Halted.TOO_DAMP))
    found = told([damp, cures()], DRY)
    assert (found.at, found.code) == (None, "halted")
    assert found.reason == (
        "Nobody can say when “Wet extraction” will be done inside: "
        "the air takes up too little water."
    )


# Against looking at every minute


HOURS = st.lists(
    st.builds(
        lambda chance, celsius, percent: (chance, celsius, percent),
        st.sampled_from([0, 0, 0, 10, 20, 60]),
        st.sampled_from([2, 4.5, 6, 10, 15, 25]),
        st.sampled_from([40, 60, 60, 90]),
    ),
    max_size=16,
)
CURING = st.lists(
    st.builds(
        lambda need, inside, percent, lowest: cures(
            inside, "Sealant", Cure(need, lowest_celsius=lowest), percent
        ),
        st.integers(20, 400),
        st.integers(10, 500),
        st.integers(0, 90),
        st.sampled_from([0.0, 5.0, 12.0]),
    ),
    min_size=1,
    max_size=3,
)


def fit(forecast_hour: ForecastHour) -> bool:
    assert forecast_hour.humidity_percent is not None
    assert forecast_hour.rain_chance_percent is not None
    dry = forecast_hour.rain_chance_percent <= 20
    frost = frost_risk(forecast_hour.celsius, forecast_hour.humidity_percent) is not Frost.NONE
    car = forecast_hour.celsius - 4  # as under a clear sky
    clear = surface_margin(forecast_hour.celsius, forecast_hour.humidity_percent, car) >= 3
    return dry and not frost and clear


def cured_in_time(
    wait: RunningClock, hours: list[ForecastHour], start: float, slack: float
) -> bool:
    """Step through the minutes outside until it has cured or the weather is not fit."""
    assert wait.cure is not None
    assert wait.estimate.latest_at is not None
    inside = (wait.estimate.latest_at - START) / timedelta(minutes=1)
    done = wait.progress_percent / 100
    left = wait.cure.reference_minutes * (1 - done) * max(1 - start / inside, 0) + slack
    minute, chances = start, {}
    while left > 0:
        number = int(minute // 60)
        if number >= len(hours) or not fit(hours[number]):
            return False
        chances[number] = hours[number].rain_chance_percent or 0
        if sum(chances.values()) > 20:
            return False
        step = min(1.0, 60 * (number + 1) - minute)
        left -= step * wait.cure.rate(hours[number].celsius)
        minute += step
    return True


@settings(max_examples=300, deadline=None)
@given(CURING, HOURS, st.integers(0, 200))
def test_no_earlier_minute_would_do_and_this_one_does(
    waits: list[RunningClock], air: list[tuple[float, float, float]], drying: int
) -> None:
    hours = [
        ForecastHour(after(60 * number), celsius, percent, chance)
        for number, (chance, celsius, percent) in enumerate(air)
    ]
    staying = [flashes_off(drying)] if drying > 100 else []
    found = told([*waits, *staying], hours)
    assert found.at is not None
    begin = drying if staying else 0
    minute = (found.at - START) / timedelta(minutes=1)
    ends = [end for wait in [*waits, *staying] if (end := wait.estimate.latest_at)]
    last = (max(ends) - START) / timedelta(minutes=1)
    assert begin <= minute <= last
    if minute < last:
        assert all(cured_in_time(wait, hours, minute, -0.01) for wait in waits)
    earlier = [begin + step for step in range(int(minute - begin) + 1) if begin + step < minute]
    for start in earlier:
        assert not all(cured_in_time(wait, hours, start, 0.01) for wait in waits)


# Time


def test_moments_are_the_same_whatever_clock_they_are_told_in() -> None:
    """Also across the night in which British clocks go back."""
    london = ZoneInfo("Europe/London")
    start = datetime(2026, 10, 25, 0, 30, tzinfo=london)
    end = start.astimezone(ZoneInfo("UTC")) + timedelta(hours=4)
    slow = replace(cures(), estimate=Estimate(end, end, 0, Basis.MEASURED, Halted.NO))
    hours = [
        ForecastHour((end - timedelta(hours=4 - number)).astimezone(london), 15, 60, rain)
        for number, rain in enumerate([90, 0, 0, 0, 0, 0])
    ]
    found = earliest_outside([slow], hours, at=start, forecast_issued_at=start)
    assert found.at == end - timedelta(hours=3)
    assert found.at.isoformat() == "2026-10-25T00:30:00+00:00"


def test_the_order_of_the_hours_does_not_matter() -> None:
    hours = forecast(90, 0, 0, 0, 0, 0)
    assert told([cures(300)], hours[::-1]) == told([cures(300)], hours)
