"""Erases somebody: their sign-in with all it opens, and their name wherever it was written.

What they did stays as figures: spells of work, steps of a history, minutes.
"""

from collections.abc import Iterator, Sequence
from itertools import chain
from uuid import UUID

import structlog
from django.db import transaction

from accounts.models import ApiKey, Device, Organisation, Person
from accounts.services import ways_in_close
from core.clock import now
from core.problems import Conflict
from jobs.retention.fates import CARS
from jobs.retention.models import Removal
from jobs.retention.selectors.subjects import Rows, rows_naming, rows_of, rows_of_nobody
from jobs.retention.services.blanks import blank_of
from jobs.retention.services.leftovers import (
    answers_reword,
    attempts_forget,
    mail_forget,
    sessions_end,
)
from jobs.retention.services.records import Tally, recorded
from jobs.retention.services.words import HISTORY, Words, words_clear
from jobs.work.models import HistoryEntry, OrderImport
from jobs.work.services.jobs.forgetting import history_replace
from notifications.models import Endpoint
from notifications.services.waiting import waiting_stop

log = structlog.get_logger(__name__)

AT_ONCE = 500


def person_erase(*, person: Person, more_words: Sequence[str] = ()) -> Removal:
    """Erase somebody who signs in. Raises Conflict for an only owner, and for who is at work.

    `more_words` are what else they are called in texts. Broken off, it can be done again from the
    start: the account goes last.
    """
    _refuse_only_owner(person)
    if person.spells.filter(ended_at=None).exists():
        raise Conflict("Their time on a task is running. Pause or finish it first.")
    with recorded(Removal.Step.PERSON) as tally:
        close(person, tally)
        words = Words([person.name, person.email, *more_words])
        if person.organisation is not None:
            _words_out(person.organisation, words, tally)
        else:
            _rows_out(rows_of_nobody(), words, tally)
        erase(person, tally)
    return tally.record


def contact_erase(*, organisation: Organisation, words: Sequence[str]) -> Removal:
    """Take somebody who never signed in out of what is kept of an organisation, by what is written.

    The words are their name, address and telephone number as they were written down.
    """
    with recorded(Removal.Step.PERSON) as tally:
        _words_out(organisation, Words(words), tally)
    return tally.record


def erase(person: Person, tally: Tally) -> None:
    """Erase what hangs together with somebody by their id, at last the account itself."""
    for found in rows_naming(person):
        if found.label in CARS:
            tally.rows += _nameless(found)
    with transaction.atomic():
        OrderImport.objects.filter(person=person).delete()
        Device.objects.filter(made_by=person).delete()
        ApiKey.objects.filter(made_by=person).delete()
        tally.rows += person.delete()[0]
    log.info("person_erased")


def _refuse_only_owner(person: Person) -> None:
    if person.role != Person.Role.OWNER or not person.is_active:
        return
    owners = Person.objects.filter(
        organisation=person.organisation_id, role=Person.Role.OWNER, is_active=True
    )
    if not owners.exclude(pk=person.pk).exists():
        raise Conflict(
            "This is the only owner of their workshop. Make somebody else an owner first, or "
            "erase the workshop."
        )


@transaction.atomic
def close(person: Person, tally: Tally) -> None:
    """End every way in that somebody has or made, and have nothing sent to them any more."""
    Person.objects.filter(pk=person.pk).update(is_active=False)
    person.is_active = False
    ways_in_close(person=person)
    tally.rows += sessions_end([person.pk]) + attempts_forget([person.email])
    for endpoint in Endpoint.objects.filter(
        organisation=person.organisation_id, address__iexact=person.email
    ):
        waiting_stop(endpoint_id=endpoint.pk, at=now())
        endpoint.state, endpoint.deleted_at = Endpoint.State.OFF, now()
        endpoint.save(update_fields=["state", "deleted_at"])


def _words_out(organisation: Organisation, words: Words, tally: Tally) -> None:
    _rows_out(chain(rows_of(organisation), rows_of_nobody()), words, tally)
    partners = with_partners(organisation)
    tally.rows += answers_reword(organisations=partners, words=words)
    tally.files += mail_forget(words)


def _rows_out(tables: Iterator[Rows], words: Words, tally: Tally) -> None:
    for found in tables:
        if found.label != "accounts.Person":
            tally.rows += words_clear(found, words)


def with_partners(organisation: Organisation) -> list[UUID]:
    """Return an organisation with those that it deals or has dealt with."""
    other = "workshop" if organisation.kind == Organisation.Kind.DEALER else "dealer"
    accounts = getattr(
        organisation, "workshop_accounts" if other == "workshop" else "dealer_accounts"
    )
    return [organisation.pk, *accounts.values_list(other, flat=True)]


def _nameless(found: Rows) -> int:
    """Empty the ids of somebody in rows about cars, and the name beside them."""
    if found.label == HISTORY:
        return _nameless_history(found)
    model = found.rows.model
    blanks = {"actor": blank_of(model, "actor")} if "actor" in found.fate.names else {}
    return int(found.rows.update(**blanks, **dict.fromkeys(found.fate.people)))


def _nameless_history(found: Rows) -> int:
    count = 0
    while entries := list[HistoryEntry](found.rows[:AT_ONCE]):
        for entry in entries:
            entry.actor_person_id, entry.actor = None, ""
        history_replace(entries)
        count += len(entries)
    return count
