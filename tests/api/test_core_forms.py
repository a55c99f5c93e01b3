"""Forms in pages: checked by the serializers of the API, and nothing typed is lost."""

from typing import Any

from django.http import QueryDict
from django.template.loader import render_to_string
from rest_framework import serializers

from core.api.serializers import StrictSerializer, ZonedDateTimeField
from core.forms import Field, PageForm
from core.problems import Conflict, InvalidRequest


class CarInput(StrictSerializer):
    """What the form in these tests sends."""

    name = serializers.CharField(max_length=5)
    due_at = ZonedDateTimeField(required=False, allow_null=True)
    count = serializers.IntegerField(required=False, allow_null=True, min_value=1)
    parts = serializers.ListField(child=serializers.CharField(max_length=4), required=False)
    urgent = serializers.BooleanField(required=False)
    notes = serializers.CharField(required=False, allow_blank=True)


FIELDS = (
    Field("name", "Name", required=True, hint="As on the door."),
    Field("due_at", "Wanted back", "datetime"),
    Field("count", "How many", "number"),
    Field("parts", "Parts", "lines"),
    Field("urgent", "Urgent", "checkbox"),
    Field("notes", "Notes", "textarea"),
)


def typed(text: str, **more: Any) -> PageForm:
    """Return the form with what a browser would send."""
    return PageForm(CarInput, FIELDS, typed=QueryDict(text), **more)


def test_what_was_typed_becomes_what_a_system_would_send() -> None:
    form = typed("name=+Lynd+&due_at=2027-07-01T16:00&count=3&parts=lens%0D%0A%0D%0Atrim&urgent=on")
    assert form.is_valid()
    assert form.values["name"] == "Lynd"
    assert form.values["due_at"].isoformat() == "2027-07-01T15:00:00+00:00"  # summer time here
    assert form.values["parts"] == ["lens", "trim"]
    assert form.values["urgent"] is True
    assert "notes" not in form.values  # what is left empty is not sent


def test_every_wrong_field_is_named_and_keeps_what_was_typed() -> None:
    form = typed("name=Much+too+long&due_at=tomorrow&count=many&parts=a%0Alongest")
    assert not form.is_valid()
    assert [field.name for field in form.wrong] == ["name", "due_at", "count", "parts"]
    assert form.fields["count"].value == "many"
    assert form.fields["due_at"].value == "tomorrow"
    assert form.refused


def test_an_emptied_field_empties_what_stood_in_a_change() -> None:
    form = typed("name=Lynd&due_at=&count=&notes=", partial=True)
    assert form.is_valid()
    assert form.values["due_at"] is None
    assert form.values["count"] is None
    assert form.values["notes"] == ""


def test_what_a_service_refuses_stands_beside_its_field_or_above_the_form() -> None:
    form = typed("name=Lynd")
    form.add_problem(InvalidRequest("No.", errors=[{"field": "name", "message": "Taken."}]))
    form.add_problem(Conflict("It is there already.", next_step="Look at it."))
    assert form.fields["name"].errors == ("Taken.",)
    assert form.other == ["It is there already. Look at it."]


def test_a_field_says_what_is_wrong_with_it_to_those_who_hear_the_page() -> None:
    form = typed("name=%3Cb%3Elong")
    assert not form.is_valid()
    shown = render_to_string("core/field.html", {"field": form.fields["name"]})
    assert 'aria-describedby="name-hint name-wrong"' in shown
    assert 'aria-invalid="true"' in shown
    assert 'value="&lt;b&gt;long"' in shown
    assert 'href="#name"' in render_to_string("core/wrong.html", {"form": form})
