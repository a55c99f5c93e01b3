"""The app of what is kept how long."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import CheckMessage, Error, register

from core.periodic import register_periodic
from jobs.retention.terms import DataKind, too_short

LOOKED_SECONDS = 600.0


class RetentionConfig(AppConfig):
    """Registers the sweep and the check of the terms."""

    name = "jobs.retention"
    label = "retention"

    def ready(self) -> None:
        register(check_terms)
        # It looks each time whether it is night, and goes on where it stopped.
        register_periodic(
            "sweep-retention",
            "jobs.retention.tasks.sweep_retention",
            seconds=LOOKED_SECONDS,
            worthless_after=LOOKED_SECONDS,
        )


def check_terms(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Refuse terms that are shorter than may be, and attempts that outlast their notice."""
    del app_configs
    days = settings.KEEP_DAYS
    for kind, least in too_short(days):
        yield Error(
            f"SHUTLINE_KEEP_DAYS keeps {kind} for {days[kind]} days, fewer than {least}.",
            hint=f"Write {kind}={least} or more.",
            id="retention.E001",
        )
    if days[DataKind.ATTEMPTS] > days[DataKind.NOTICES]:
        yield Error(
            "SHUTLINE_KEEP_DAYS keeps attempts longer than the notices they belong to.",
            hint="Write no more days for attempts than for notices.",
            id="retention.E002",
        )
    if days[DataKind.NOTICES] > days[DataKind.PERSONAL]:
        yield Error(
            "SHUTLINE_KEEP_DAYS keeps notices, which tell of a car, longer than its personal data.",
            hint="Write no more days for notices than for personal.",
            id="retention.E003",
        )
