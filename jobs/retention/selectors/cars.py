"""The cars whose term is over; what is open, in dispute or not settled yet is none of them."""

from datetime import datetime
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from core.problems import NotFound
from jobs.retention.models import Cleared, KeptCar
from jobs.retention.selectors.terms import over
from jobs.retention.terms import DataKind
from jobs.work.models import Belonging, Job, WorkRequest
from jobs.work.models.jobs.job import CANCELLED_HERE

OF_CARS = (DataKind.PERSONAL, DataKind.PICTURES, DataKind.HISTORY)


def closed_cars() -> QuerySet[Job]:
    """Return the cars that have gone, each with `closed_at`.

    An order that was declined has only when it last changed.
    """
    gone = Job.objects.filter(is_open=False).exclude(CANCELLED_HERE)
    return gone.annotate(closed_at=Coalesce("collected_at", "cancelled_at", F("updated_at")))


def unsettled(job: str = "pk") -> Q:
    """Return the condition that something about a car is still to be settled.

    It is in dispute, a thing found in it was not signed back, or extra work waits for an answer.
    """
    things = Belonging.objects.filter(
        finding__job=OuterRef(job), what__in=Belonging.THINGS, returned_at=None
    )
    asked = WorkRequest.objects.filter(job=OuterRef(job), state=WorkRequest.State.OPEN)
    kept = KeptCar.objects.filter(job=OuterRef(job), ended_at=None)
    return Q(Exists(kept)) | Q(Exists(things)) | Q(Exists(asked))


def cars_over(kind: DataKind, at: datetime) -> QuerySet[Job]:
    """Return the cars whose data of a kind are over and have not gone yet, unsettled or not."""
    done = Cleared.objects.filter(job=OuterRef("pk"), kind=kind)
    return closed_cars().filter(~Exists(done), over(kind, at, moment="closed_at"))


def cars_due(kind: DataKind, at: datetime) -> QuerySet[Job]:
    """Return the cars whose data of a kind are to go."""
    return cars_over(kind, at).exclude(unsettled())


def car_called(job_id: UUID) -> Job:
    """Return a car by its id. Raises NotFound."""
    job = Job.objects.filter(pk=job_id).first()
    if job is None:
        raise NotFound("There is no such job.")
    return job
