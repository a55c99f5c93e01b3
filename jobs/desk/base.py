"""What the desk's pages share: who may see them, how cars are filtered, where a button leads."""

from typing import ClassVar

from django.http import HttpRequest, QueryDict
from django.urls import reverse
from rest_framework import serializers

from accounts.caller import Access, people
from accounts.models import Organisation, Person
from accounts.pages.base import PageView
from core.api.serializers import StrictSerializer
from core.forms import Field, PageForm
from jobs.desk.selectors.cars import CarFilter
from jobs.work.calc.stages.machine import Stage

MANAGERS = people(Person.Role.OWNER, Person.Role.MANAGER)
LONGEST_SEARCH = 60
STAGES = [(stage.value, stage.value.capitalize()) for stage in Stage]
# Where a button on a list leads back to; anything else leads to the car.
LISTS = {"desk": "desk", "waiting": "desk_waiting"}


class DeskPage(PageView):
    """A page for the workshop's owner and managers."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGERS, "POST": MANAGERS}


class FilterInput(StrictSerializer):
    """What the list of cars is narrowed by."""

    dealer = serializers.UUIDField(required=False)
    stage = serializers.ChoiceField(STAGES, required=False)
    held = serializers.BooleanField(required=False)
    search = serializers.CharField(max_length=LONGEST_SEARCH, required=False)


def filter_form(typed: QueryDict, dealers: list[Organisation]) -> tuple[PageForm, CarFilter]:
    """Return the form over a list of cars, and what it narrows by; a wrong one narrows nothing."""
    fields = [
        Field("search", "Mark or reference", longest=LONGEST_SEARCH),
        Field(
            "dealer",
            "Dealer",
            "select",
            choices=[("", "All dealers"), *((str(dealer.pk), dealer.name) for dealer in dealers)],
        ),
        Field("stage", "Stage", "select", choices=[("", "All stages"), *STAGES]),
        Field("held", "Only cars on hold", "checkbox"),
    ]
    form = PageForm(FilterInput, fields, typed=typed)
    if not form.is_valid():
        return form, CarFilter()
    values = form.values
    return form, CarFilter(
        dealer_id=values.get("dealer"),
        stage=values.get("stage", ""),
        held=values.get("held", False),
        text=values.get("search", ""),
    )


def back_from(request: HttpRequest, car: str) -> str:
    """Return where a button of a list leads: back to that list, else to the car."""
    name = LISTS.get(request.POST.get("back", ""))
    return reverse(name) if name else car
