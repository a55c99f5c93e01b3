"""Whose rows are whose: all that is kept of an organisation, or names somebody by their id."""

from collections.abc import Iterator
from functools import reduce
from operator import or_
from typing import Any, NamedTuple

from django.apps import apps
from django.db.models import Model, Q, QuerySet

from accounts.models import Organisation, Person
from core.problems import NotFound
from jobs.retention.fates import FATES, Fate


class Rows(NamedTuple):
    """The rows of one table that are somebody's."""

    label: str
    fate: Fate
    rows: QuerySet[Any]


def rows_of(organisation: Organisation, *, handed_out: bool = False) -> Iterator[Rows]:
    """Yield an organisation's rows, table by table; cars are both sides'.

    `handed_out` leaves out what a dealer is never shown of a workshop's.
    """
    for label, fate in FATES.items():
        hidden = handed_out and fate.internal and organisation.kind == Organisation.Kind.DEALER
        lookups = _lookups(fate, organisation)
        if lookups and not hidden:
            yield _rows(label, fate, dict.fromkeys(lookups, organisation.pk))


def rows_naming(person: Person) -> Iterator[Rows]:
    """Yield the rows that name somebody by their id."""
    for label, fate in FATES.items():
        if fate.people:
            yield _rows(label, fate, dict.fromkeys(fate.people, person.pk))


def rows_of_nobody() -> Iterator[Rows]:
    """Yield the tables whose rows may name anybody, of whichever organisation."""
    for label, fate in FATES.items():
        if fate.names and not (fate.car or fate.owners):
            yield Rows(label, fate, model_of(label)._default_manager.all())  # noqa: SLF001  any model's


def _lookups(fate: Fate, organisation: Organisation) -> list[str]:
    if fate.car:
        side = str(organisation.kind)
        return [side if fate.car == "pk" else f"{fate.car}__{side}"]
    return list(fate.owners)


def _rows(label: str, fate: Fate, wanted: dict[str, Any]) -> Rows:
    condition = reduce(or_, (Q(**{lookup: value}) for lookup, value in wanted.items()))
    return Rows(label, fate, model_of(label)._default_manager.filter(condition))  # noqa: SLF001  any model's


def model_of(label: str) -> type[Model]:
    """Return the model of a fate."""
    return apps.get_model(label)


def person_called(email: str) -> Person:
    """Return somebody by the address they sign in with. Raises NotFound."""
    person = Person.objects.filter(email=email.lower()).select_related("organisation").first()
    if person is None:
        raise NotFound(f"Nobody signs in as {email!r}.")
    return person
