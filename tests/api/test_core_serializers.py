"""Inputs: unknown fields are named with every other error, and a time carries its zone."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pytest
from rest_framework import serializers

from core.api.serializers import Input, StrictSerializer, ZonedDateTimeField
from core.left_out import LEFT_OUT, LeftOut, named, or_else


class Booking(StrictSerializer):
    """An input for the tests."""

    mark = serializers.CharField(max_length=8)
    minutes = serializers.IntegerField(min_value=1)


def errors_of(data: Any) -> dict[str, Any]:
    """Return what is wrong with a booking."""
    form = Booking(data=data)
    assert not form.is_valid()
    return dict(form.errors)


def test_a_right_booking_passes() -> None:
    form = Booking(data={"mark": "TU21 ABC", "minutes": 40})
    assert form.is_valid()
    assert form.validated_data == {"mark": "TU21 ABC", "minutes": 40}


def test_an_unknown_field_is_named_with_the_known_ones() -> None:
    errors = errors_of({"mark": "TU21 ABC", "minutes": 40, "colour": "red"})
    assert list(errors) == ["colour"]
    assert "Known fields: mark, minutes." in errors["colour"][0]


def test_unknown_missing_and_wrong_fields_are_told_together() -> None:
    errors = errors_of({"minutes": 0, "colour": "red", "Mark": "TU21 ABC"})
    assert set(errors) == {"mark", "minutes", "colour", "Mark"}


def test_a_field_that_is_wrong_and_one_unknown_of_the_same_kind_keep_their_own_words() -> None:
    errors = errors_of({"mark": "x" * 9, "minutes": 1, "marks": "x"})
    assert "8 characters" in errors["mark"][0]
    assert "no such field" in errors["marks"][0]


def test_only_so_many_unknown_names_are_repeated() -> None:
    errors = errors_of({f"field{number:03}": 1 for number in range(500)})
    assert len(errors) == 20 + 2


@pytest.mark.parametrize("data", [[], "text", 4, None])
def test_what_is_no_object_is_refused(data: Any) -> None:
    with pytest.raises(serializers.ValidationError):
        Booking(data=data).is_valid(raise_exception=True)


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2027-03-01T09:30:00Z", datetime(2027, 3, 1, 9, 30, tzinfo=UTC)),
        ("2027-03-01T09:30:00+01:00", datetime(2027, 3, 1, 8, 30, tzinfo=UTC)),
        ("2027-06-30T23:59:59.5-05:30", datetime(2027, 7, 1, 5, 29, 59, 500_000, tzinfo=UTC)),
    ],
)
def test_an_instant_is_read_into_utc(text: str, instant: datetime) -> None:
    value = ZonedDateTimeField().run_validation(text)
    assert value == instant
    assert value.tzinfo is UTC


@pytest.mark.parametrize("text", ["2027-03-01T09:30:00", "2027-03-01 09:30", "2027-03-01"])
def test_a_time_without_a_zone_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(serializers.ValidationError) as caught:
        ZonedDateTimeField().run_validation(text)
    message = str(caught.value.args[0])
    assert "2027-03-01T09:30:00Z" in message or "YYYY-MM-DDThh:mm" in message


@pytest.mark.parametrize("text", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"])
def test_an_instant_beyond_the_calendar_is_refused(text: str) -> None:
    with pytest.raises(serializers.ValidationError):
        ZonedDateTimeField().run_validation(text)


@pytest.mark.parametrize("value", ["soon", "", 5, 1e300, [], {}, True, "2027-02-30T00:00:00Z"])
def test_what_is_no_time_is_refused(value: Any) -> None:
    with pytest.raises(serializers.ValidationError):
        ZonedDateTimeField().run_validation(value)


def test_an_instant_is_shown_in_utc() -> None:
    shown = ZonedDateTimeField().to_representation(datetime(2027, 7, 1, 8, 0, tzinfo=UTC))
    assert shown == "2027-07-01T08:00:00Z"


class Wash(StrictSerializer):
    """An input with choices for the tests."""

    place = serializers.ChoiceField([("bay", "in the bay"), ("yard", "outside")])
    extras = serializers.ListField(child=serializers.ChoiceField(["wax", "glass"]), required=False)
    colour = serializers.ChoiceField([str(number) for number in range(21)], required=False)


def test_where_there_are_a_few_choices_the_error_names_them() -> None:
    form = Wash(data={"place": "garage {0}", "extras": ["wax", "polish"], "colour": "red"})
    assert not form.is_valid()
    assert form.errors["place"] == ["“garage {0}” is not a valid choice. Choose one of: bay, yard."]
    assert form.errors["extras"][1] == [
        "“polish” is not a valid choice. Choose one of: wax, glass."
    ]
    assert "Choose one of" not in form.errors["colour"][0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    side: str
    bar: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trolley:
    name: str | LeftOut = LEFT_OUT
    note: str | LeftOut | None = LEFT_OUT
    wheels: Sequence[Wheel] = ()
    spare: Wheel | None = None


class WheelInput(Input[Wheel]):
    side = serializers.CharField()
    bar = serializers.FloatField(required=False)


class TrolleyInput(Input[Trolley]):
    name = serializers.CharField(required=False)
    note = serializers.CharField(required=False, allow_null=True)
    wheels = serializers.ListField(child=WheelInput(), required=False)
    spare = WheelInput(required=False, allow_null=True)


def yielded(sent: Any) -> Any:
    form = TrolleyInput(data=sent)
    form.is_valid(raise_exception=True)
    return form.validated_data


def test_an_input_yields_the_dataclass_it_names_and_those_within_it() -> None:
    sent = {"name": "Bay trolley", "wheels": [{"side": "left"}], "spare": {"side": "", "bar": 2.5}}
    with pytest.raises(serializers.ValidationError):
        yielded(sent)
    sent["spare"] = {"side": "right", "bar": 2.5}
    assert yielded(sent) == Trolley(
        name="Bay trolley", wheels=[Wheel(side="left")], spare=Wheel(side="right", bar=2.5)
    )


def test_what_was_left_out_is_told_from_what_was_sent_empty() -> None:
    assert named(yielded({"note": None})) == {"note": None, "wheels": (), "spare": None}
    assert yielded({}).note is LEFT_OUT
    assert or_else(yielded({}).name, "unnamed") == "unnamed"
    assert or_else(yielded({"name": "A"}).name, "unnamed") == "A"
