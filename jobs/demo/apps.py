"""The played day: `manage.py demo`."""

from django.apps import AppConfig


class DemoConfig(AppConfig):
    """Brings the command; it speaks to the service over HTTP and owns no table."""

    name = "jobs.demo"
    label = "demo"
