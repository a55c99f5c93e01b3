"""Amounts of money: every column of decimals is one, and nobody sees it who was not let in."""

from functools import cache
from typing import Any

from django.db import models


@cache
def _amounts(model: Any) -> frozenset[str]:
    fields = model._meta.fields  # noqa: SLF001  Django's own way
    return frozenset(field.name for field in fields if isinstance(field, models.DecimalField))


def amounts_of(model: type[models.Model]) -> frozenset[str]:
    """Return the names of a model's amounts of money, whoever adds one."""
    return _amounts(model)
