"""Erases a dealer or a workshop: its cars end in figures, its people and all it set up go.

The other side keeps its feed and its figures. What says who it was goes last, so that an erasure
that was broken off can be done again.
"""

from collections.abc import Iterable
from uuid import UUID

import structlog
from django.contrib.admin.models import LogEntry
from django.db import transaction
from django.db.models import Model, QuerySet

from accounts.models import ApiKey, Device, Organisation, TradeAccount
from core.models import IdempotentAnswer
from core.problems import Conflict
from jobs.retention.models import Removal, Term
from jobs.retention.selectors.cars import closed_cars, unsettled
from jobs.retention.selectors.subjects import rows_of_nobody
from jobs.retention.services.blanks import DELETED
from jobs.retention.services.cars import cars_clear, files_delete
from jobs.retention.services.leftovers import answers_forget, mail_forget
from jobs.retention.services.people import close, erase, with_partners
from jobs.retention.services.records import Tally, recorded
from jobs.retention.services.words import Words, words_clear
from jobs.retention.terms import DataKind
from jobs.work.models import (
    ClimateReading,
    ClimateSetup,
    DayCapacity,
    Forecast,
    Job,
    Operation,
    OrderImport,
    Package,
    Phrase,
    Product,
)
from notifications.models import Attempt, Delivery, Endpoint
from notifications.services.redacting import events_redact

log = structlog.get_logger(__name__)

CARS_AT_ONCE = 25
ROWS_AT_ONCE = 1000
SET_UP: tuple[type[Model], ...] = (
    ClimateReading, ClimateSetup, Forecast, Operation, Package, Phrase, DayCapacity, Term,
)  # fmt: skip


def organisation_erase(*, organisation: Organisation) -> Removal:
    """Erase an organisation. Raises Conflict while a car of it is open or not settled."""
    refuse_unsettled(organisation)
    step = Removal.Step(str(organisation.kind))
    with recorded(step) as tally:
        _shut(organisation)
        words, ids = _words_of(organisation), _ids_of(organisation)
        tally.files += mail_forget(words)
        tally.rows += _answers(organisation, words, ids)
        _cars(organisation, tally)
        _notices(organisation, tally)
        for person in organisation.people.order_by("pk"):
            close(person, tally)
            erase(person, tally)
        _set_up(organisation, tally)
        _acts(ids, words, tally)
        with transaction.atomic():
            organisation.name = f"{DELETED} {organisation.pk}"
            organisation.contact_email = ""
            organisation.save(update_fields=["name", "contact_email"])
    log.info("organisation_erased", kind=step.value)
    return tally.record


def refuse_unsettled(organisation: Organisation) -> None:
    """Raise Conflict while a car is open, in dispute, or has something to be settled."""
    mine = Job.objects.filter(**{str(organisation.kind): organisation})
    settled = closed_cars().exclude(unsettled())
    if count := mine.exclude(pk__in=settled.values("pk")).count():
        raise Conflict(
            f"{count} cars of {organisation} are open, kept for a dispute, or have belongings not "
            "signed back or extra work not answered. Settle those first."
        )


@transaction.atomic
def _shut(organisation: Organisation) -> None:
    """Close every way in and out at once, before anything goes."""
    both = TradeAccount.objects.filter(**{str(organisation.kind): organisation})
    both.update(active=False)
    ApiKey.objects.filter(organisation=organisation).update(revoked=True)
    organisation.people.update(is_active=False)
    organisation.endpoints.update(state=Endpoint.State.OFF, secret="", old_secret="")


def _words_of(organisation: Organisation) -> Words:
    """Return what it and its people are called, and where they are written to."""
    people = organisation.people.values_list("name", "email")
    addresses = organisation.endpoints.values_list("address", flat=True)
    own = [organisation.name, organisation.contact_email, *addresses]
    return Words([*own, *(word for person in people for word in person)])


def _ids_of(organisation: Organisation) -> list[str]:
    """Return the ids under which the operator may have changed something of it."""
    side = str(organisation.kind)
    tables: Iterable[Iterable[object]] = (
        [organisation.pk],
        organisation.people.values_list("pk", flat=True),
        organisation.api_keys.values_list("pk", flat=True),
        organisation.devices.values_list("pk", flat=True),
        organisation.endpoints.values_list("pk", flat=True),
        TradeAccount.objects.filter(**{side: organisation}).values_list("pk", flat=True),
        Job.objects.filter(**{side: organisation}).values_list("pk", flat=True),
    )
    return [str(pk) for table in tables for pk in table]


def _answers(organisation: Organisation, words: Words, ids: list[str]) -> int:
    rows = IdempotentAnswer.objects.filter(organisation_id=organisation.pk).delete()[0]
    others = [pk for pk in with_partners(organisation) if pk != organisation.pk]
    return rows + answers_forget(organisations=others, words=words, ids=ids)


def _cars(organisation: Organisation, tally: Tally) -> None:
    """Clear all cars, whatever their terms."""
    cars = Job.objects.filter(**{str(organisation.kind): organisation}).order_by("pk")
    after: UUID | None = None
    while ids := _next(cars.values_list("pk", flat=True), after):
        with transaction.atomic():
            cleared = cars_clear(ids, DataKind.HISTORY)
        tally.cars += len(ids)
        tally.rows += cleared.rows
        tally.files += files_delete(cleared.files)
        after = ids[-1]


def _next(keys: QuerySet[Job, UUID], after: UUID | None) -> list[UUID]:
    return list((keys.filter(pk__gt=after) if after else keys)[:CARS_AT_ONCE])


def _notices(organisation: Organisation, tally: Tally) -> None:
    """Redact its notices, which are the other side's too, and drop what was sent to itself."""
    place, more = "", True
    while more:
        done = events_redact(organisation_id=organisation.pk, place=place)
        tally.rows, place, more = tally.rows + done.rows, done.place, bool(done.place)
    sent = Delivery.objects.filter(endpoint__organisation=organisation)
    while keys := list(sent.values_list("pk", flat=True)[:ROWS_AT_ONCE]):
        with transaction.atomic():
            Attempt.objects.filter(delivery__in=keys).delete()
            tally.rows += Delivery.objects.filter(pk__in=keys).delete()[0]
    for endpoint in organisation.endpoints.all():
        endpoint.address, endpoint.description = f"{DELETED} {endpoint.pk}", ""
        endpoint.state, endpoint.state_reason = Endpoint.State.OFF, ""
        endpoint.secret = endpoint.old_secret = ""
        endpoint.deleted_at = endpoint.deleted_at or tally.record.started_at
        endpoint.save()


def _set_up(organisation: Organisation, tally: Tally) -> None:
    """Delete what a workshop set up, lists that a dealer sent, and every key and tablet."""
    place = {"workshop": organisation}
    for model in SET_UP:
        tally.rows += _delete(model, place)
    for product in Product.objects.filter(**place):
        product.name, product.sheet = f"{DELETED} {product.pk}", ""
        product.save(update_fields=["name", "sheet"])
    tally.rows += _delete(OrderImport, {"dealer": organisation})
    tally.rows += _delete(ApiKey, {"organisation": organisation})
    tally.rows += _delete(Device, place)


def _delete(model: type[Model], wanted: dict[str, Organisation]) -> int:
    count, rows = 0, model._default_manager.filter(**wanted)  # noqa: SLF001  any model's
    while keys := list(rows.values_list("pk", flat=True)[:ROWS_AT_ONCE]):
        count += rows.filter(pk__in=keys).delete()[0]
    return count


def _acts(ids: list[str], words: Words, tally: Tally) -> None:
    """Take what was erased out of the list of what the operator changed, and of sign-ins."""
    for first in range(0, len(ids), ROWS_AT_ONCE):
        some = LogEntry.objects.filter(object_id__in=ids[first : first + ROWS_AT_ONCE])
        tally.rows += some.update(object_repr=DELETED, change_message="")
    for found in rows_of_nobody():
        tally.rows += words_clear(found, words)
