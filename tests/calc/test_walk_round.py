"""What differs between arrival and leaving, in sentences."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from jobs.work.calc.walk_rounds import (
    ITEMS,
    KM_IN_A_MILE,
    LOWER_BY_MUCH_KM,
    WARNING_LIGHTS,
    Damage,
    Distance,
    Presence,
    Record,
    Unit,
    differences,
    remark_mileage,
)


def miles(amount: int) -> Distance:
    return Distance(amount, Unit.MILES)


def km(amount: int) -> Distance:
    return Distance(amount, Unit.KM)


def said(arrival: Record, leaving: Record) -> list[tuple[str, str]]:
    return [(difference.about, difference.text) for difference in differences(arrival, leaving)]


def test_a_mile_is_what_scipy_says_it_is() -> None:
    # scipy.constants.mile, metres in an international mile.
    assert float(KM_IN_A_MILE * 1000) == pytest.approx(constants.mile, rel=1e-15)
    assert miles(1000).km == Fraction("1609.344")


UNITS = "One is in km, the other in miles: check the units as well."


@pytest.mark.parametrize(
    ("before", "after", "text"),
    [
        (miles(41250), miles(41253), "The mileage grew by 3 miles."),
        (miles(41250), miles(41251), "The mileage grew by 1 mile."),
        (km(66000), km(66001), "The mileage grew by 1 km."),
        (
            miles(41253),
            miles(41250),
            "The mileage fell by 3 miles, which cannot be: check both figures.",
        ),
        # 41,250 miles are 66,385.44 km; 66,482 km are 60 miles more.
        (
            miles(41250),
            km(66482),
            "The mileage grew by 60 miles.",
        ),
        (
            km(66482),
            miles(41250),
            f"The mileage fell by 97 km, which cannot be: check both figures. {UNITS}",
        ),
        (km(41250), miles(41250), f"The mileage grew by 25135 km. {UNITS}"),
    ],
)
def test_the_mileage_is_compared_in_the_unit_of_the_arrival(
    before: Distance, after: Distance, text: str
) -> None:
    assert said(Record(mileage=before), Record(mileage=after)) == [("mileage", text)]


@given(amount=st.integers(0, 2_000_000))
def test_the_same_figure_rounded_in_the_other_unit_is_no_difference(amount: int) -> None:
    for same in (km(int(miles(amount).km)), km(round(miles(amount).km))):
        assert said(Record(mileage=miles(amount)), Record(mileage=same)) == []
    assert said(Record(mileage=miles(amount)), Record(mileage=miles(amount))) == []


@given(metres=st.integers(0, 2_000_000_000))
def test_one_mileage_shown_in_either_unit_is_no_difference(metres: int) -> None:
    """A display cuts off what is less than one of its unit."""
    shown = (km(metres // 1000), miles(int(metres / 1000 / KM_IN_A_MILE)))
    for before, after in (shown, shown[::-1]):
        assert said(Record(mileage=before), Record(mileage=after)) == []


@pytest.mark.parametrize(
    ("before", "after"), [(miles(41250), km(66388)), (km(66386), miles(41252))]
)
def test_a_mile_and_more_shows_in_any_unit(before: Distance, after: Distance) -> None:
    assert len(said(Record(mileage=before), Record(mileage=after))) == 1


def test_fuel_charge_and_keys_are_told_with_both_figures() -> None:
    arrival = Record(fuel_percent=50, charge_percent=40, keys_count=2)
    leaving = Record(fuel_percent=45, charge_percent=80, keys_count=1)
    assert said(arrival, leaving) == [
        ("fuel_percent", "Fuel fell from 50 % to 45 %."),
        ("charge_percent", "Charge rose from 40 % to 80 %."),
        ("keys_count", "The keys were 2 on arrival and are 1 on leaving."),
    ]


def test_warning_lights_are_new_or_gone() -> None:
    arrival = Record(warning_lights=frozenset({"engine", "airbag"}))
    leaving = Record(warning_lights=frozenset({"engine", "tyre_pressure"}))
    assert said(arrival, leaving) == [
        ("warning_lights", "New warning light: tyre pressure."),
        ("warning_lights", "Warning light gone: airbag."),
    ]


@pytest.mark.parametrize(
    ("was", "is_now", "text"),
    [
        ("present", "absent", "Load cover or parcel shelf: here on arrival, not here now."),
        ("absent", "present", "Load cover or parcel shelf: not here on arrival, here now."),
        (
            "present",
            "not_checked",
            "Load cover or parcel shelf: here on arrival, not looked for now.",
        ),
        ("present", "present", ""),
        ("absent", "absent", ""),
        ("absent", "not_checked", ""),
        ("not_checked", "absent", ""),
        ("not_checked", "present", ""),
    ],
)
def test_an_item_that_was_here_must_be_here(was: str, is_now: str, text: str) -> None:
    arrival = Record(items={"load_cover": Presence(was)})
    found = said(arrival, Record(items={"load_cover": Presence(is_now)}))
    assert found == ([("items", text)] if text else [])


def test_an_item_not_named_on_leaving_was_not_looked_for() -> None:
    (found,) = said(Record(items={"mats": Presence.PRESENT}), Record())
    assert found == ("items", "Mats: here on arrival, not looked for now.")


def test_damage_counts_where_there_was_none_or_less() -> None:
    door, wing = Damage("left rear door", "A dent."), Damage("left front wing", "Scratched.")
    again = Damage("left rear door", "Dent under the handle.")
    assert said(Record(damage=[door]), Record(damage=[again])) == []
    assert said(Record(damage=[door]), Record(damage=[again, wing])) == [
        ("damage", "Damage that was not noted on arrival, left front wing: Scratched.")
    ]
    assert len(said(Record(damage=[door]), Record(damage=[again, door]))) == 1
    assert said(Record(damage=[door]), Record()) == []


def test_what_was_not_looked_at_is_not_compared() -> None:
    full = Record(mileage=miles(1), fuel_percent=1, charge_percent=1, keys_count=1)
    assert said(full, Record()) == []
    assert said(Record(), full) == []


@given(
    record=st.builds(
        Record,
        mileage=st.none() | st.builds(Distance, st.integers(0, 10**6), st.sampled_from(Unit)),
        fuel_percent=st.none() | st.integers(0, 100),
        keys_count=st.none() | st.integers(0, 9),
        warning_lights=st.frozensets(st.sampled_from(list(WARNING_LIGHTS))),
        items=st.dictionaries(st.sampled_from(list(ITEMS)), st.sampled_from(Presence)),
        damage=st.lists(st.builds(Damage, st.sampled_from(["bonnet", "roof"]), st.just("Dent."))),
    )
)
def test_a_car_that_left_as_it_came_differs_in_nothing(record: Record) -> None:
    assert differences(record, record) == []


@pytest.mark.parametrize(
    ("ordered", "found", "remarked"),
    [
        (miles(41250), miles(41250), False),
        (miles(41250), miles(41000), False),
        (km(41250), km(41250 - LOWER_BY_MUCH_KM), False),
        (km(41250), km(41249 - LOWER_BY_MUCH_KM), True),
        (miles(41250), km(41250), True),
        (miles(41250), miles(99999), False),
        (None, miles(1), False),
        (miles(41250), None, False),
    ],
)
def test_a_mileage_far_below_the_order_is_remarked(
    ordered: Distance | None,
    found: Distance | None,
    remarked: bool,  # noqa: FBT001
) -> None:
    assert bool(remark_mileage(ordered, found)) is remarked


def test_the_lists_are_in_plain_words_and_long_enough() -> None:
    assert len(ITEMS) >= 15
    assert len(WARNING_LIGHTS) >= 15
    assert len(set(ITEMS.values())) == len(ITEMS)
