"""Notices and warnings as e-mail: what they say, and how each is addressed and marked."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import orjson
from django.conf import settings
from django.core.mail import EmailMessage, EmailMultiAlternatives
from django.template.loader import render_to_string
from django.utils.dateparse import parse_datetime

from core.text import one_line, visible
from notifications.catalogue import event_types
from notifications.letter import Letter
from notifications.models import Delivery, Endpoint
from notifications.notice import Notice

# Members of `job` that name the car, and those that are said in a line of their own.
VEHICLE = ("registration", "make", "model", "colour")
UNTOLD = frozenset({"id", "code", "headline"})  # for systems, or told above
# What the same member in plain words is called: the code beside it is for systems.
IN_WORDS = ("_words", "_name")
# What tells a picture from others: the first there is names it.
OF_A_PICTURE = ("caption", "view", "area", "moment")
SEEN_BY = "A key or a sign-in opens them."
LONGEST_SUBJECT = 150
Fact = tuple[str, str]


def notice_mail(
    *, notice: Notice, address: str, letter: Letter | None = None
) -> EmailMultiAlternatives:
    """Build the e-mail that tells of an event; nothing is sent and no database is read.

    `letter` is what it says beside the notice, to the dealer alone.
    """
    letter = letter or Letter()
    body: dict[str, Any] = orjson.loads(notice.body)
    kind = event_types().get(notice.type)
    summary = one_line(body["data"].get("headline") or (kind.summary if kind else notice.type))
    job: Mapping[str, Any] = body["data"].get("job") or {}
    about = {
        "summary": summary,
        "vehicle": one_line(" ".join(str(job[name]) for name in VEHICLE if job.get(name))),
        "facts": [
            (one_line(label), one_line(text)) for label, text in [*_facts(body), *letter.facts]
        ],
        "links": letter.links,
        "event_id": notice.id,
        "service": urlsplit(settings.PUBLIC_URL).hostname,
    }
    named = job.get("registration") or job.get("vin") or job.get("dealer_ref") or ""
    message = EmailMultiAlternatives(
        subject=_one_line(f"{named}: {summary}" if named else summary),
        body=_text("notice", about),
        to=[address],
        headers=_headers(notice),
    )
    message.attach_alternative(render_to_string("notifications/notice.html", about), "text/html")
    return message


def warning_mail(*, endpoint: Endpoint, recipients: Iterable[str]) -> EmailMessage:
    """Build the warning that an endpoint fails and will be disabled."""
    return _about_endpoint(
        "warning", f"Notices to {endpoint.address} are failing", endpoint, recipients
    )


def disabled_mail(*, endpoint: Endpoint, recipients: Iterable[str]) -> EmailMessage:
    """Build the message that an endpoint was disabled, and how to switch it on again."""
    return _about_endpoint(
        "disabled", f"Notices to {endpoint.address} have been stopped", endpoint, recipients
    )


def _about_endpoint(
    template: str, subject: str, endpoint: Endpoint, recipients: Iterable[str]
) -> EmailMessage:
    last_errors = (
        Delivery.objects.filter(endpoint=endpoint).exclude(last_error="").order_by("-pk")
    ).values_list("last_error", flat=True)
    is_webhook = endpoint.channel == Endpoint.Channel.WEBHOOK
    calls = "webhook-endpoints" if is_webhook else "email-recipients"
    about = {
        "endpoint": endpoint,
        "owner": endpoint.organisation,
        "since": _moment(endpoint.failing_since) if endpoint.failing_since else "",
        "last_error": one_line(last_errors.first() or ""),
        "disable_after_hours": settings.DISABLE_AFTER_HOURS,
        "is_webhook": is_webhook,
        "service": settings.PUBLIC_URL,
        "path": f"/api/v1/{calls}/{endpoint.pk}",
    }
    return EmailMessage(
        subject=_one_line(subject),
        body=_text(template, about),
        to=list(recipients),
        headers={"Auto-Submitted": "auto-generated"},
    )


def _headers(notice: Notice) -> dict[str, str]:
    """Mark the message so that a receiver knows it for the same one if it comes twice."""
    return {
        "Message-ID": f"<{notice.id}@{urlsplit(settings.PUBLIC_URL).hostname}>",
        "X-Shutline-Event": str(notice.id),
        "Auto-Submitted": "auto-generated",  # RFC 3834: no out-of-office answers, please
    }


def _facts(body: Mapping[str, Any]) -> Iterator[Fact]:
    """Yield what the notice says as label and text, leaving out what is empty or not so."""
    data: Mapping[str, Any] = body["data"]
    job: Mapping[str, Any] = data.get("job") or {}
    yield "Happened", _words(body["timestamp"])
    for label, name in (("Your reference", "dealer_ref"), ("VIN", "vin"), ("Stage", "stage")):
        if job.get(name):
            yield label, _words(job[name])
    for name, value in data.items():
        said = any(f"{name}{ending}" in data for ending in IN_WORDS)
        if name != "job" and not said and _is_told(name, value):
            yield _label(name), _words(value)
    if job.get("due_at"):
        yield "Wanted by", _words(job["due_at"])


def _words(value: Any) -> str:
    """Return a value of JSON as a person would write it."""
    match value:
        case bool():
            return "yes" if value else "no"
        case Mapping():
            return _member(value)
        case list():
            said = "; ".join(_words(item) for item in value)
            return f"{said}. {SEEN_BY}" if _is_picture(value[-1:]) else said
        case str():
            moment = _instant(value)
            return _moment(moment) if moment else value.replace("_", " ")
        case _:
            return "" if value is None else str(value)


def _member(value: Mapping[str, Any]) -> str:
    """Return an object of JSON in words: ids and empty members are of no use to a reader.

    A picture (it has links, which need a key or a sign-in) is told by what it shows.
    """
    if _is_picture([value]):
        said = [_words(value[name]) for name in OF_A_PICTURE if value.get(name)]
        return f"{said[0]} ({', '.join(said[1:])})" if said[1:] else "".join(said)
    members = {name: member for name, member in value.items() if _is_told(name, member)}
    if len(members) == 1:
        return _words(next(iter(members.values())))
    return ", ".join(
        f"{_label(name).lower()}: {_words(member)}" for name, member in members.items()
    )


def _is_picture(values: list[Any]) -> bool:
    return any(isinstance(value, Mapping) and "links" in value for value in values)


def _is_told(name: str, value: Any) -> bool:
    for_people = name not in UNTOLD and not name.endswith(("_id", "_ids"))
    # What is not so goes without saying; a count of 0 does not, though it equals False.
    return for_people and value is not False and value not in (None, "", [], {})


def _instant(text: str) -> datetime | None:
    try:
        moment = parse_datetime(text)
    except ValueError:  # formed like a time, but of no day there is
        return None
    return moment if moment is not None and moment.tzinfo is not None else None


def _moment(moment: datetime) -> str:
    return f"{moment.astimezone(ZoneInfo(settings.TIME_ZONE)):%a %-d %b %Y, %H:%M}"


def _label(name: str) -> str:
    for ending in ("_at", *IN_WORDS):
        name = name.removesuffix(ending)
    return name.replace("_", " ").capitalize()


def _text(template: str, about: Mapping[str, Any]) -> str:
    return visible(render_to_string(f"notifications/{template}.txt", dict(about)))


def _one_line(text: str) -> str:
    """Return the text fit for a header: one line, and not endless."""
    return " ".join(one_line(text).split())[:LONGEST_SUBJECT]
