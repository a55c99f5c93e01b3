"""Celery tasks of accounts: tidying up."""

from celery import shared_task

from accounts.services import sign_ins_purge
from core.sweeps import swept


@shared_task
@swept("purge_sign_ins")
def purge_sign_ins() -> None:
    """Delete the sessions, counts and places whose time is over."""
    sign_ins_purge()
