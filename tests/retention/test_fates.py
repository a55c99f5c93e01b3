"""Every table and every column with text has a declared fate: none can be added without one."""

from typing import Any

import pytest
from django.apps import apps
from django.db.models import (
    BinaryField,
    CharField,
    Field,
    GenericIPAddressField,
    JSONField,
    TextField,
)

from jobs.retention.fates import CARS, FATES
from jobs.retention.services.steps import STEPS
from jobs.retention.terms import KINDS

TEXT = (CharField, TextField, JSONField, BinaryField, GenericIPAddressField)
MODELS = {model._meta.label: model for model in apps.get_models(include_auto_created=True)}


def texts(model: Any) -> set[str]:
    """Return the columns that anything may stand in."""
    fields: list[Field[Any, Any]] = list(model._meta.local_concrete_fields)
    return {
        field.name
        for field in fields
        if isinstance(field, TEXT) and not field.choices and not field.remote_field
    }


def test_every_table_has_a_fate() -> None:
    assert len(MODELS) > 50
    assert set(MODELS) - set(FATES) == set(), "say in jobs/retention/fates.py what becomes of it"
    assert set(FATES) - set(MODELS) == set()


@pytest.mark.parametrize("label", MODELS)
def test_every_column_with_text_is_told_apart(label: str) -> None:
    fate = FATES[label]
    said = [*fate.personal, *fate.names, *fate.plain, *fate.secret]
    assert sorted(texts(MODELS[label])) == sorted(said), "each column stands in one of the lists"
    assert fate.why


@pytest.mark.parametrize("label", MODELS)
def test_the_lookups_of_a_fate_lead_somewhere(label: str) -> None:
    fate, rows = FATES[label], MODELS[label]._default_manager
    for lookup in (*fate.owners, *fate.people, *([fate.car] if fate.car else [])):
        assert "FROM" in str(rows.filter(**{lookup: None}).query) or lookup == "pk"


@pytest.mark.parametrize("label", CARS)
def test_a_car_ends_its_names_wherever_people_are_named(label: str) -> None:
    columns = {field.name for field in MODELS[label]._meta.local_concrete_fields}
    by_id = {name for name in columns if name in {"actor_person_id", "person", "made_by"}}
    assert by_id == set(FATES[label].people)


def test_every_kind_has_a_step() -> None:
    assert set(KINDS) <= {str(step) for step in STEPS}
