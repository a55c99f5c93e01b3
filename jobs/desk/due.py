"""Cars due against capacity: what must be done by the end of each day, and the time there is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.timezone import localtime
from rest_framework import serializers

from accounts.caller import Caller
from core.api.serializers import StrictSerializer
from core.clock import now
from core.forms import Field, PageForm
from jobs.desk.base import DeskPage
from jobs.desk.selectors.due import orders_not_counted, wanted_cars, worked_today
from jobs.work.calc.hours import DayLoad, due_load
from jobs.work.selectors.hours import capacity_of
from jobs.work.services.hours import capacity_set

WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
NAMES = [day.lower() for day in WEEK]
MOST_MINUTES = 100_000
EXAMPLE = "Two people for eight hours each are 960 minutes."
BAR_WIDTH = 100


def _minutes() -> serializers.IntegerField:
    return serializers.IntegerField(min_value=0, max_value=MOST_MINUTES, required=False)


class CapacityInput(StrictSerializer):
    """Minutes of work for each day of the week; a day left empty has none."""

    monday = _minutes()
    tuesday = _minutes()
    wednesday = _minutes()
    thursday = _minutes()
    friday = _minutes()
    saturday = _minutes()
    sunday = _minutes()

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Want one day at least: a week without any work is a form sent by accident."""
        if any(data.get(name) for name in NAMES):
            return {}
        return {NAMES[0]: ["Give the minutes of at least one day."]}


@dataclass(frozen=True, slots=True)
class Bar:
    """A day as a drawn bar: parts of BAR_WIDTH for what there is, what must be done, what is over.

    The words beside it say the same.
    """

    load: DayLoad
    room: float
    must: float
    over: float


def bar_of(load: DayLoad) -> Bar:
    """Return the bar of a day, as wide as the larger of what there is and what must be done."""
    whole = max(load.available, load.must, 1)
    within = min(load.must, load.available)
    parts = (load.available, within, load.over)
    room, must, over = (round(BAR_WIDTH * part / whole, 1) for part in parts)
    return Bar(load, room, must, over)


def capacity_fields() -> Sequence[Field]:
    """Return a field for each day of the week."""
    return [Field(name, day, "number") for name, day in zip(NAMES, WEEK, strict=True)]


class DeskDue(DeskPage):
    """Cars due against capacity."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the next 14 days."""
        capacity = capacity_of(caller)
        standing = {NAMES[weekday]: minutes for weekday, minutes in capacity.items()}
        form = PageForm(CapacityInput, capacity_fields(), standing=standing)
        return self.shown(request, caller, form, capacity=capacity)

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Set the minutes of each day of the week."""
        form = PageForm(CapacityInput, capacity_fields(), typed=request.POST)
        if not form.is_valid():
            return self.shown(request, caller, form, capacity=capacity_of(caller), status=400)
        minutes = {number: form.values.get(name, 0) for number, name in enumerate(NAMES)}
        capacity_set(caller=caller, minutes=minutes)
        return self.done(request, reverse("desk_due"), "The minutes of each day are set.")

    def shown(
        self,
        request: HttpRequest,
        caller: Caller,
        form: PageForm,
        *,
        capacity: dict[int, int],
        status: int = 200,
    ) -> HttpResponse:
        """Render the days with the form for the minutes of each."""
        return self.page(
            request,
            caller,
            "jobs/desk/due.html",
            status=status,
            here="due",
            form=form,
            fields=list(form.fields.values()),
            example=EXAMPLE,
            **loaded(caller, capacity),
        )


def loaded(caller: Caller, capacity: dict[int, int]) -> dict[str, Any]:
    """Return what the page shows of the work and the time for it."""
    at = now()
    today = localtime(at).date()
    worked = worked_today(caller, today, at)
    load = due_load(wanted_cars(caller, at), today=today, capacity=capacity, worked_today=worked)
    return {
        "set": bool(capacity),
        "load": load,
        "bars": [bar_of(day) for day in load.days],
        "worked": worked,
        "today": today,
        "not_counted": orders_not_counted(caller),
    }
