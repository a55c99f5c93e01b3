"""The dealer's pages: the dashboard, and the link in an e-mail."""

from django.apps import AppConfig


class DashboardConfig(AppConfig):
    """Brings pages, templates, styles and scripts; it owns no table."""

    name = "jobs.dashboard"
    label = "dashboard"
