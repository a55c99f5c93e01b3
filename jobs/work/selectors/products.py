"""A workshop's products that cure, and what went onto cars."""

from uuid import UUID

from django.db.models import QuerySet

from accounts.caller import Caller
from core.problems import NotFound
from jobs.work.calc.stages.machine import Kind
from jobs.work.models import HistoryEntry, Product, ProductUse, Task


def products_of(caller: Caller, *, hidden: bool = False) -> QuerySet[Product]:
    """Return the caller's products by name; the hidden ones too where they are asked for."""
    products = Product.objects.filter(workshop_id=caller.organisation_id).order_by("name", "pk")
    return products if hidden else products.filter(hidden=False)


def product_of(caller: Caller, product_id: UUID) -> Product:
    """Return one of the caller's products. Raises NotFound."""
    product = products_of(caller, hidden=True).filter(pk=product_id).first()
    if product is None:
        raise NotFound("There is no such product, or it is not yours.")
    return product


def product_for(workshop_id: UUID, operation: str) -> Product | None:
    """Return the one product that a workshop uses in an operation; None where it has several."""
    found = Product.objects.filter(workshop_id=workshop_id, operation=operation, hidden=False)
    products = list(found[:2])
    return products[0] if len(products) == 1 else None


def cures_already(task: Task) -> bool:
    """Return whether a product that cures went on in the course of the task as it is done now.

    What went on before the task was finished the last time belongs to that time.
    """
    uses = ProductUse.objects.filter(task=task, clock__isnull=False)
    latest = uses.order_by("-occurred_at").values_list("occurred_at", flat=True).first()
    if latest is None:
        return False
    finished = HistoryEntry.objects.filter(job_id=task.job_id, kind=Kind.TASK_FINISHED.value)
    times = [
        at
        for at, data in finished.values_list("occurred_at", "data")
        if data.get("task_id") == str(task.pk)
    ]
    return not times or latest > max(times)
