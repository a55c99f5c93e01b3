"""The workshop's desk."""

from django.apps import AppConfig


class DeskConfig(AppConfig):
    """Brings pages, templates, styles and scripts; it owns no table."""

    name = "jobs.desk"
    label = "desk"
