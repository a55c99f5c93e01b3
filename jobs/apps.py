"""The jobs app."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """Registers the events of a job in the catalogue."""

    name = "jobs"

    def ready(self) -> None:
        from jobs import events  # noqa: F401, PLC0415  registers them
