"""The app."""

from django.apps import AppConfig


class EndlessRuns(AppConfig):
    """Takes away the end of a run: what waits for it then waits for good, not for minutes."""

    name = "tests.reliability.endless_runs"

    def ready(self) -> None:
        from notifications.engine import run  # noqa: PLC0415  models can be imported only now

        run.LONGEST_RUN_SECONDS = float("inf")
