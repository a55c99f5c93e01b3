"""What every app stands on; knows nothing of cars."""

from core.celery import app as celery_app

__all__ = ["celery_app"]
