"""The core app."""

from django.apps import AppConfig
from django.conf import settings

from core.periodic import register_periodic


class CoreConfig(AppConfig):
    """Registers the system checks and the numbers for /metrics."""

    name = "core"

    def ready(self) -> None:
        # It becomes the application of every task, and the checks are registered.
        from core import celery, checks, deploy_checks  # noqa: F401, PLC0415

        register_periodic(
            "purge-idempotent-answers", "core.tasks.purge_idempotent_answers", seconds=3600.0
        )
        register_periodic(
            "fetch-sources", "core.tasks.fetch_sources", seconds=60.0, worthless_after=60
        )
        register_periodic(
            "sweep-work",
            "core.tasks.sweep_work",
            seconds=float(settings.SWEEP_SECONDS),
            worthless_after=settings.SWEEP_SECONDS,
        )
