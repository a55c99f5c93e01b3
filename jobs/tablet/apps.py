"""The tablet in the workshop."""

from django.apps import AppConfig


class TabletConfig(AppConfig):
    """Brings pages, templates, styles and scripts; it owns no table."""

    name = "jobs.tablet"
    label = "tablet"
