"""The core app."""

from django.apps import AppConfig


class CoreConfig(AppConfig):
    """Registers the system checks and the numbers for /metrics."""

    name = "core"

    def ready(self) -> None:
        from core import checks  # noqa: F401, PLC0415  registers the checks
