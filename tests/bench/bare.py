"""Bare Django views: the least that could do the same, as the measure for ours."""

from typing import Any
from uuid import UUID

import orjson
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt

from accounts.models import ApiKey
from core.clock import now
from core.ids import new_id
from jobs.work.models import HistoryEntry, Job, Task
from jobs.work.selectors.jobs.jobs import READY_FIELDS
from notifications.models import Event

ROWS = 50


def one_query(request: HttpRequest) -> HttpResponse:
    """One indexed query, a small answer."""
    row = ApiKey.objects.filter(prefix=request.GET["prefix"]).values("name").first()
    return HttpResponse(orjson.dumps(row), content_type="application/json")


def fifty(request: HttpRequest) -> HttpResponse:
    """Fifty rows by values() and orjson."""
    rows = Job.objects.filter(dealer_id=UUID(request.GET["dealer"]), ready_number__isnull=False)
    cars = list(rows.order_by("-ready_number").values(*READY_FIELDS)[:ROWS])
    return HttpResponse(orjson.dumps({"cars": cars}, default=str), content_type="application/json")


@csrf_exempt
def insert(request: HttpRequest) -> HttpResponse:
    """Insert the rows that accepting a work order writes, in one transaction, unchecked."""
    order: dict[str, Any] = orjson.loads(request.body)
    dealer, workshop = order.pop("dealer"), order.pop("workshop")
    moment = now()
    with transaction.atomic():
        job = Job.objects.create(
            id=new_id(),
            dealer_id=dealer,
            workshop_id=workshop,
            received_at=moment,
            updated_at=moment,
            registration_key=order["registration"].replace(" ", ""),
            **order,
        )
        HistoryEntry.objects.bulk_create(
            HistoryEntry(
                job=job,
                number=number,
                kind=kind,
                version=number,
                occurred_at=moment,
                recorded_at=moment,
                actor="bare",
            )
            for number, kind in enumerate(("received", "accepted"), start=1)
        )
        Task.objects.bulk_create(
            Task(job=job, operation=code, name=code, stage="cleaning", planned_minutes=30)
            for code in order["operations"]
        )
        for kind in ("work_order.received", "work_order.accepted"):
            Event.objects.create(
                type=kind,
                dealer_id=dealer,
                workshop_id=workshop,
                subject_id=job.pk,
                occurred_at=moment,
                recorded_at=moment,
                body="{}" * 400,
            )
    return HttpResponse(orjson.dumps({"id": job.pk}), status=201, content_type="application/json")
