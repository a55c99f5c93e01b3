"""Whole cars in bulk: each row that belongs to one is copied in the database, at its own time.

It names no model by where it lies, so that an earlier release can be filled by it as well.
"""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import connection, models

from core.clock import now

# The id of a copy: in the order of its time, as those of the service are, and always the same.
_IDS = """
CREATE OR REPLACE FUNCTION pg_temp.id_of(old uuid, place bigint, apart bigint, base bigint)
RETURNS uuid LANGUAGE sql IMMUTABLE AS $$
SELECT (lpad(to_hex((base - 60 * apart * place) * 1000), 12, '0')
    || '7' || substr(md5(old::text || place::text), 1, 3)
    || '8' || substr(md5(old::text || place::text), 4, 15))::uuid
$$
"""


def clone(
    job: Any, places: range, *, minutes_apart: int, pairs: Sequence[tuple[UUID, UUID]]
) -> None:
    """Copy one car with all its rows to each place, so many minutes further back each time.

    `pairs`: the workshops with a dealer each that the copies go to, by turns.
    """
    shops = [str(shop) for shop, _ in pairs]
    dealers = [str(dealer) for _, dealer in pairs]
    base = int(now().timestamp())
    with connection.cursor() as cursor:
        cursor.execute(_IDS)
        # A copy of what held together holds together: no look at each row's foreign keys.
        cursor.execute("SET session_replication_role = replica; SET synchronous_commit = off")
        for model, path in _tables():
            patch = ", ".join(_patches(model))
            table = model._meta.db_table
            rows = model._default_manager.filter(**{path: job.pk})
            ids = [str(pk) for pk in rows.values_list("pk", flat=True)]
            if ids:
                cursor.execute(
                    f"INSERT INTO {table} SELECT copy.* FROM {table} t,"  # noqa: S608
                    f" generate_series(%(first)s, %(last)s) place, LATERAL"
                    f" jsonb_populate_record(t, jsonb_build_object({patch})) copy"
                    f" WHERE t.{model._meta.pk.column} = ANY(%(ids)s::uuid[])",
                    {
                        "first": places.start,
                        "last": places.stop - 1,
                        "apart": minutes_apart,
                        "base": base,
                        "ids": ids,
                        "shops": shops,
                        "dealers": dealers,
                    },
                )
        cursor.execute("RESET session_replication_role; RESET synchronous_commit")


def _tables() -> Iterator[tuple[Any, str]]:
    """Yield the tables whose rows belong to a car, each after those it names, and the way there."""
    waiting = {model: _way(model) for model in apps.get_app_config("jobs").get_models()}
    done: set[Any] = set()
    left = {model: way for model, way in waiting.items() if way}
    while left:
        for model, way in list(left.items()):
            named = {
                field.related_model
                for field in model._meta.concrete_fields
                if field.is_relation and field.related_model is not model
            }
            if not named & (left.keys() - {model}):
                yield model, way
                done.add(model)
                del left[model]


def _way(model: Any, seen: tuple[Any, ...] = ()) -> str:
    """Return how a row is found by its car; empty where it belongs to none."""
    if model._meta.label == "jobs.Job":
        return "pk"
    for field in model._meta.concrete_fields:
        related = field.related_model if field.is_relation else None
        if related is not None and related._meta.label == "jobs.Job":
            return str(field.name)
        if related is not None and related not in (model, *seen):
            further = _way(related, (*seen, model))
            if further:
                return field.name if further == "pk" else f"{field.name}__{further}"
    return ""


def _patches(model: Any) -> Iterator[str]:
    """Yield what differs in a copy, as arguments of jsonb_build_object."""
    ours = {table for table, _ in _tables()} if _way(model) != "pk" else {model}
    for field in model._meta.concrete_fields:
        column, old = field.column, f"t.{field.column}"
        related = field.related_model if field.is_relation else None
        if column == "workshop_id":
            value = "(%(shops)s::uuid[])[1 + place %% cardinality(%(shops)s::uuid[])]"
        elif column == "dealer_id":
            value = "(%(dealers)s::uuid[])[1 + place %% cardinality(%(dealers)s::uuid[])]"
        elif (related in ours) or (field.primary_key and related is None):
            value = f"pg_temp.id_of({old}, place, %(apart)s, %(base)s)"
        elif isinstance(field, models.DateTimeField):
            value = f"{old} - make_interval(mins => (%(apart)s * place)::int)"
        elif column in {"registration_key", "registration", "dealer_ref"}:
            value = f"{old} || place"
        elif column == "ready_number":
            value = f"{old} + place"
        else:
            continue
        yield f"'{column}', {value}"
