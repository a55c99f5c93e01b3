"""The app of the work on cars; its tables were named when it was called jobs."""

from django.apps import AppConfig
from django.db.backends.signals import connection_created

from core.api.enum_names import register_enum_names
from core.backup.books import register_audit
from core.backup.contents import StoredFiles, register_stored_files
from core.outbound.sources import Source, register_source
from core.periodic import register_periodic
from jobs.work.enum_names import ENUM_NAMES
from jobs.work.pages_version import show_tables


class WorkConfig(AppConfig):
    """Registers the events of a job, and what is looked at from time to time."""

    name = "jobs.work"
    label = "jobs"

    def ready(self) -> None:
        from jobs.work import events  # noqa: F401, PLC0415  registers them
        from jobs.work.models import Rendition  # noqa: PLC0415  models can be imported only now
        from jobs.work.selectors.jobs.books import histories_wrong  # noqa: PLC0415  the same
        from jobs.work.services.air.forecast_pull import forecast_keep, forecasts_claim  # noqa: PLC0415  models can be imported only now
        from jobs.work.services.jobs.forgetting import answer_trigger  # noqa: PLC0415  the same

        connection_created.connect(answer_trigger)
        show_tables()
        register_source("forecasts", Source(claim=forecasts_claim, keep=forecast_keep))
        register_enum_names(ENUM_NAMES)
        register_stored_files(StoredFiles("photos", Rendition._meta.db_table))  # noqa: SLF001  Django's own way
        register_audit(histories_wrong)
        # Whoever answers too late is told so at once; this is for those who never answer.
        register_periodic(
            "lapse-requests", "jobs.tasks.lapse_requests", seconds=30.0, worthless_after=30
        )
        # Moves look at the clocks themselves; this is for what nobody moves, and lost wake-ups.
        register_periodic(
            "watch-clocks", "jobs.tasks.settle_clocks", seconds=15.0, worthless_after=15
        )
        # Cars are noted as they become ready; this is for those from before there was such a thing.
        register_periodic("fill-flow", "jobs.tasks.fill_flow", seconds=300.0, worthless_after=300)
        # A list is taken in as soon as it came; this is for lost wake-ups and workers that died.
        register_periodic("take-orders", "jobs.tasks.take_orders", seconds=30.0, worthless_after=30)
