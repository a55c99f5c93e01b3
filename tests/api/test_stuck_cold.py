"""A gauge in whole degrees that repeats a cold is taken for stuck, and its cold warns all the same.

What it says counts as not measured, so it never says that the air is fit.
"""

from datetime import timedelta
from html import unescape
from typing import Any

import time_machine

from accounts.caller import Caller, Side
from jobs.work.models import ClimateReading
from jobs.work.selectors.air import last_word, latest_reading
from jobs.work.services.air.readings import Measured, readings_take
from tests.api.air import CLIMATE
from tests.api.clock_steps import EIGHT, after
from tests.api.desk import signed_in
from tests.api.looked import page, words
from tests.api.steps import arrived, done, moved
from tests.scene import Scene

REPEATED = "The sensor repeats one value: read a thermometer to be sure."
NOBODY = "Nobody has measured the air lately."


def repeated(scene: Scene, celsius: float, humidity: float | None = None, **more: Any) -> None:
    """Add the same reading of one sensor every hour for 30 hours, until eight."""
    caller = Caller(scene.workshop.pk, Side.WORKSHOP, frozenset(), "The gauge")
    series = [
        Measured(after(hours=hour), celsius, humidity, sensor="bay", **more)
        for hour in range(-30, 1)
    ]
    readings_take(caller=caller, measured=series)
    assert ClimateReading.objects.filter(mark="stuck").count() == 30


def by_hand(scene: Scene, celsius: float, minutes: float) -> None:
    caller = Caller(scene.workshop.pk, Side.WORKSHOP, frozenset(), "Tam")
    readings_take(caller=caller, measured=[Measured(after(minutes=minutes), celsius)])


def to_dress(scene: Scene) -> Any:
    """Return a car whose trim is still to be dressed."""
    workshop = scene.workshop_api()
    return moved(workshop, arrived(scene, operations=["trim_dressing"]), "cleaning", "correction")


def cautions(scene: Scene, job: Any) -> list[str]:
    """Return what speaks against the work by the API, which tablet and desk must say as well."""
    found = done(scene.workshop_api().get(f"/jobs/{job['id']}/waits"))["cautions"]
    texts = [caution["text"] for caution in found]
    desk = page(signed_in(scene.manager), f"/desk/cars/{job['id']}")
    tablet = page(signed_in(scene.valeter), f"/tablet/cars/{job['id']}")
    for shown in (unescape(words(desk)), unescape(words(tablet))):
        assert [text for text in texts if text not in shown] == []
        assert (REPEATED in shown) is any(REPEATED in text for text in texts)
    return texts


def test_cold_that_is_repeated_warns_on_tablet_desk_and_in_the_api(scene: Scene) -> None:
    """A day of 4.0 °C gave no caution anywhere."""
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = to_dress(scene)
        repeated(scene, 4.0)
        clock.move_to(after(minutes=30))
        (cold,) = cautions(scene, job)
        assert cold.startswith("The air (nobody measured the surface) has 4.0 °C")
        assert cold.endswith(f"the product's data sheet decides. {REPEATED}")
        waits = done(scene.workshop_api().get(f"/jobs/{job['id']}/waits"))
        assert (waits["reading"]["celsius"], waits["reading"]["stuck"]) == (4.0, True)
        assert NOBODY in words(page(signed_in(scene.valeter), f"/tablet/cars/{job['id']}"))
        clock.move_to(after(hours=2, minutes=1))
        assert cautions(scene, job) == []  # too old to say what the air is like


def test_damp_that_is_repeated_warns_too(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        job = to_dress(scene)
        repeated(scene, 15.0, 96.0)
        (damp,) = cautions(scene, job)
    assert "the dew point is 14.4 °C" in damp
    assert damp.endswith(REPEATED)


def test_warmth_that_is_repeated_is_no_measure(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False):
        job = to_dress(scene)
        repeated(scene, 18.0)
        assert cautions(scene, job) == []
        assert NOBODY in words(page(signed_in(scene.valeter), f"/tablet/cars/{job['id']}"))


def test_a_reading_that_counts_outranks_it_for_two_hours(scene: Scene) -> None:
    """As in the sums of the clocks, whichever is the newer by a minute."""
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = to_dress(scene)
        by_hand(scene, 9.0, -10)
        repeated(scene, 4.0)
        (cold,) = cautions(scene, job)
        assert "has 9.0 °C" in cold
        assert REPEATED not in cold
        clock.move_to(after(minutes=111))
        (cold,) = cautions(scene, job)
        assert "has 4.0 °C" in cold
        by_hand(scene, 12.0, 111)
        assert cautions(scene, job) == []


def test_the_last_word_of_a_place(scene: Scene) -> None:
    """None where nobody measured; a stuck one where it is new and no other is."""
    workshop = scene.workshop.pk
    with time_machine.travel(EIGHT, tick=False):
        assert last_word(workshop, "workshop", at=EIGHT) is None
        repeated(scene, 4.0)
        first = latest_reading(workshop, "workshop")
        for minutes, stuck in ((0, True), (120, True), (121, False)):
            found = last_word(workshop, "workshop", at=after(minutes=minutes))
            assert found is not None
            assert found.is_stuck is stuck
            assert stuck or found == first
        assert last_word(workshop, "outside", at=EIGHT) is None


def test_the_pages_of_the_air_show_it_and_what_of_it_counts(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        repeated(scene, 14.0, 60.0)
        clock.move_to(after(minutes=5))
        (air,) = done(scene.workshop_api().get(CLIMATE))["latest"]
        assert (air["reading"]["celsius"], air["reading"]["mark"]) == (14.0, "stuck")
        for client, path in (
            (signed_in(scene.valeter), "/tablet/climate"),
            (signed_in(scene.manager), "/desk/climate"),
        ):
            shown = words(client.get(path).content.decode())
            assert f"{REPEATED} Clocks go by its cold and damp only." in shown
            assert "far enough" not in shown
            assert "Dew point 6.4 °C" in shown
            assert "two hours old" not in shown


def test_the_desk_says_since_when_nobody_measured(scene: Scene) -> None:
    """What a sensor repeats is no measure, however new."""
    with time_machine.travel(EIGHT, tick=False):
        repeated(scene, 14.0)
    newest = latest_reading(scene.workshop.pk, "workshop")
    assert newest is not None
    assert newest.at == EIGHT - timedelta(hours=30)
