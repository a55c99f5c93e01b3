"""The day's log: what happened when, to which car, by whom; and the minutes each person worked."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.http import urlencode
from django.utils.timezone import localtime
from rest_framework import serializers

from accounts.caller import Caller
from core.api.serializers import StrictSerializer
from core.clock import now
from core.forms import Field, PageForm
from jobs.desk.base import LONGEST_SEARCH, DeskPage
from jobs.desk.car import told
from jobs.desk.selectors.due import worked_by
from jobs.desk.selectors.log import Actor, actors_of, log_of

ONE_DAY = timedelta(days=1)
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2199, 12, 31)
MOST_PAGES = 10_000


class LogInput(StrictSerializer):
    """Which day, narrowed to whom and to which car."""

    day = serializers.DateField(
        required=False,
        error_messages={"invalid": "Give the day as in 2027-03-01."},
    )
    who = serializers.CharField(max_length=200, required=False)
    car = serializers.CharField(max_length=LONGEST_SEARCH, required=False)
    page = serializers.IntegerField(min_value=1, max_value=MOST_PAGES, required=False)
    whole = serializers.BooleanField(required=False)

    def validate_day(self, day: date) -> date:
        """Refuse a day that no clock here will show."""
        if not FIRST_DAY <= day <= LAST_DAY:
            raise serializers.ValidationError("Give a day of this century.")
        return day


def log_form(request: HttpRequest, today: date) -> PageForm:
    """Return the form over the log; who can be chosen is known once the day is."""
    fields = [
        Field("day", "Day", "date"),
        Field("who", "Who", "select", choices=[("", "Everybody")]),
        Field("car", "Mark or reference", longest=LONGEST_SEARCH),
        Field("page", "Page", "hidden"),
        Field("whole", "The whole day on one page", "hidden"),
    ]
    typed = request.GET.copy()
    if not typed.get("day"):
        typed["day"] = today.isoformat()
    return PageForm(LogInput, fields, typed=typed)


class DeskLog(DeskPage):
    """The day's log."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show one day, by the time things happened."""
        today = localtime(now()).date()
        form = log_form(request, today)
        good = form.is_valid()
        values = form.values if good else {}
        day = values.get("day", today)
        actors = actors_of(caller, day)
        page = log_of(
            caller,
            day,
            who=values.get("who", ""),
            car=values.get("car", ""),
            page=values.get("page", 1),
            whole=values.get("whole", False),
        )
        worked = worked_by(caller, day, now())
        asked = {name: values[name] for name in ("who", "car") if values.get(name)}
        return self.page(
            request,
            caller,
            "jobs/desk/log.html",
            status=200 if good else 400,
            here="log",
            form=_with_people(form, actors),
            day=day,
            today=today,
            page=page,
            lines=[told(entry) for entry in page.entries],
            worked=sorted(worked.items(), key=lambda person: person[0].casefold()),
            worked_in_all=sum(worked.values()),
            narrowed=bool(asked),
            links=_links(day, page.number, page.pages, asked),
        )


def _with_people(form: PageForm, actors: list[Actor]) -> PageForm:
    """Offer those who did something that day, and whoever was asked for."""
    who = form.fields["who"]
    people = [(actor.key, actor.name) for actor in actors]
    if who.value and who.value not in {key for key, _ in people}:
        people.append((who.value, "somebody who did nothing that day"))
    form.fields["who"] = replace(who, choices=[("", "Everybody"), *people])
    return form


def _links(day: date, number: int, pages: int, asked: dict[str, Any]) -> dict[str, str]:
    """Return the queries of the day before and after, of the pages, and of the whole day."""

    def query(of: date, **more: Any) -> str:
        return f"?{urlencode({'day': of.isoformat(), **asked, **more})}"

    links = {"before": query(day - ONE_DAY), "after": query(day + ONE_DAY)}
    if number > 1:
        links["earlier"] = query(day, page=number - 1)
    if number < pages:
        links["later"] = query(day, page=number + 1)
    if pages > 1:
        links["whole"] = query(day, whole="on")
    return links
