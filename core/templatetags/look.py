"""How a time is shown on a page: short and local, with the exact one on hover or tap."""

from datetime import date, datetime, time, timedelta, tzinfo
from functools import lru_cache
from typing import Any

from django import template
from django.conf import settings
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.timezone import get_current_timezone, localtime

from core.clock import now

register = template.Library()
DAYS_BY_NAME = 6
MOST_TIMES = 16_384  # kept as they are shown, in each process


def short_time(moment: datetime, at: datetime) -> str:
    """Return a moment in few words as somebody says it `at` another: both in local time."""
    days = (moment.date() - at.date()).days
    clock = f"{moment:%H:%M}"
    if days == 0:
        return clock
    if days == -1:
        return f"yesterday {clock}"
    if days == 1:
        return f"tomorrow {clock}"
    if abs(days) <= DAYS_BY_NAME:
        return f"{moment:%a} {clock}"
    year = "" if moment.year == at.year else f" {moment.year}"
    return f"{moment.day} {moment:%b}{year} {clock}"


def said(moment: datetime) -> str:
    """Return a moment in few words as somebody here says it now."""
    return short_time(localtime(moment), localtime(now()))


def exact_time(moment: datetime) -> str:
    """Return a moment to the second with its day and zone."""
    return f"{moment:%A} {moment.day} {moment:%B %Y, %H:%M:%S %Z}"


@register.simple_tag
def when(moment: datetime | None, otherwise: str = "") -> SafeString | str:
    """Show a moment; `otherwise` where there is none."""
    if moment is None:
        return otherwise
    return _when_on(moment, localtime(now()).date(), get_current_timezone())


@lru_cache(maxsize=MOST_TIMES)
def _when_on(moment: datetime, today: date, zone: tzinfo) -> SafeString:
    """Return how a moment is shown on a day: a page says many, and most of them again and again."""
    local = moment.astimezone(zone)
    return format_html(
        '<time datetime="{}" title="{}">{}</time>',
        local.isoformat(timespec="seconds"),
        exact_time(local),
        short_time(local, datetime.combine(today, time(), zone)),
    )


@register.simple_tag
def fact(label: str, value: object, otherwise: str = "") -> SafeString | str:
    """Show a row of a list of facts: `otherwise` without a value, and nothing without both."""
    if value is None or value == "":
        value = otherwise
    if value == "":
        return ""
    shown = when(value) if isinstance(value, datetime) else value
    return format_html("<div><dt>{}</dt><dd>{}</dd></div>", label, shown)


@register.simple_tag
def undo_seconds() -> float:
    """Return for how long a tap on the tablet can be undone before it is sent."""
    return float(settings.UNDO_SECONDS)


@register.filter
def minutes(count: int | None) -> str:
    """Return minutes as people say them: 45 min, 2 h, 2 h 10 min."""
    if count is None:
        return ""
    hours, rest = divmod(int(count), 60)
    return (
        " ".join(filter(None, (f"{hours} h" if hours else "", f"{rest} min" if rest else "")))
        or "0 min"
    )


@register.filter
def ago(moment: datetime | None) -> str:
    """Return how long ago, in the largest unit that fits."""
    if moment is None:
        return ""
    gone = max(now() - moment, timedelta())
    for unit, seconds in (("day", 86_400), ("hour", 3600), ("minute", 60)):
        count = int(gone.total_seconds() // seconds)
        if count:
            return f"{count} {unit}{'s' if count > 1 else ''} ago"
    return "just now"


@register.filter
def price(asked: Any) -> str:
    """Return what a request to the dealer costs, with its currency."""
    return "not named" if asked.price is None else f"{asked.price} {asked.currency}"
