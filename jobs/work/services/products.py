"""Products that cure: kept as their data sheets say, and that one went onto a car."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from accounts.caller import Caller
from core.clock import now
from core.left_out import LEFT_OUT, LeftOut, named
from core.problems import Conflict, FieldError, InvalidRequest, NotFound
from jobs.work.calc.catalogue.operations import Operation
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_noting
from jobs.work.models import Job, Product, ProductUse, Task, WaitClock
from jobs.work.selectors.air import setup_of
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.products import cures_already, product_for, product_of, products_of
from jobs.work.services.catalogue import work_refused
from jobs.work.services.curing.clocks import NewClock, clock_start, renew
from jobs.work.services.jobs.recording import advance, check, store

MOST_PRODUCTS = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductChange:
    """What changes of a product; temperatures in °C, times in minutes."""

    name: str | LeftOut = LEFT_OUT
    operation: str | LeftOut = LEFT_OUT
    reference_minutes: int | LeftOut = LEFT_OUT
    reference_celsius: float | LeftOut = LEFT_OUT
    q10: float | LeftOut = LEFT_OUT
    lowest_celsius: float | LeftOut = LEFT_OUT
    highest_celsius: float | LeftOut | None = LEFT_OUT
    apply_from_celsius: float | LeftOut = LEFT_OUT
    sheet: str | LeftOut = LEFT_OUT
    hidden: bool | LeftOut = LEFT_OUT


@dataclass(frozen=True, slots=True, kw_only=True)
class NewProduct(ProductChange):
    """A product, by its data sheet."""

    name: str
    reference_minutes: int


def wait_after(job: Job, task: Task, operation: Operation) -> NewClock | None:
    """Return what a finished task is to wait for, or None.

    A product that was named outranks the one the workshop has for the operation, and that one
    our minutes, which are for 15 °C.
    """
    if operation.waits == WaitClock.Kind.DRYING:
        return NewClock(
            WaitClock.Kind.DRYING,
            operation.wait_minutes,
            air=setup_of(job.workshop_id).air,
            touch_test=True,
        )
    if operation.waits != WaitClock.Kind.CURE or cures_already(task):
        return None
    product = product_for(job.workshop_id, operation.code)
    if product is not None:
        return _wait_of(product)
    return NewClock(WaitClock.Kind.CURE, operation.wait_minutes)


def _wait_of(product: Product) -> NewClock | None:
    if not product.reference_minutes:
        return None
    return NewClock(
        WaitClock.Kind.CURE,
        product.reference_minutes,
        celsius=product.reference_celsius,
        q10=product.q10,
        lowest_celsius=product.lowest_celsius,
        highest_celsius=product.highest_celsius,
    )


@transaction.atomic
def product_add(*, caller: Caller, product: NewProduct) -> Product:
    """Add a product.

    Raises InvalidRequest for figures that do not fit together or an operation not done here, and
    Conflict where the name is taken or there are too many.
    """
    if products_of(caller, hidden=True).count() >= MOST_PRODUCTS:
        raise Conflict(
            f"There are {MOST_PRODUCTS} products, which is the most.",
            next_step="Change one that nobody uses any more.",
        )
    fresh = Product(workshop_id=caller.organisation_id, **named(product))
    _check(fresh)
    return _saved(fresh)


@transaction.atomic
def product_change(*, caller: Caller, product_id: UUID, changes: ProductChange) -> Product:
    """Change a product, or hide it; clocks that run keep the figures they were started with.

    Raises NotFound, and as `product_add` does.
    """
    product = product_of(caller, product_id)
    before = product.operation
    for name, value in named(changes).items():
        setattr(product, name, value)
    _check(product, before=before)
    return _saved(product)


def _check(product: Product, *, before: str = "") -> None:
    errors: list[FieldError] = []
    if product.operation not in {"", before}:
        catalogue = catalogue_of(product.workshop_id)
        if message := work_refused(catalogue, [product.operation]):
            errors.append({"field": "operation", "message": message})
    if product.lowest_celsius > product.reference_celsius:
        message = "It cannot stand still at the very temperature its minutes are told for."
        errors.append({"field": "lowest_celsius", "message": message})
    highest = product.highest_celsius
    if highest is not None and highest < product.reference_celsius:
        message = "It cannot lie below the temperature its minutes are told for."
        errors.append({"field": "highest_celsius", "message": message})
    if errors:
        said = "; ".join(f"{error['field']}: {error['message']}" for error in errors)
        raise InvalidRequest(said, errors=errors)


def _saved(product: Product) -> Product:
    product.updated_at = now()
    try:
        with transaction.atomic():
            product.save()
    except IntegrityError as error:
        raise Conflict(
            f"There is a product called {product.name} already, perhaps a hidden one.",
            next_step="Change that one, or choose another name.",
        ) from error
    return product


@dataclass(frozen=True, slots=True)
class Applied:
    """A product that went on, and what it has to wait for, where it has to cure."""

    use: ProductUse
    clock: WaitClock | None


@transaction.atomic
def product_use(
    *,
    caller: Caller,
    job_id: UUID,
    product_id: UUID,
    task_id: UUID,
    occurred_at: datetime,
    note: str = "",
) -> Applied:
    """Record that a product went onto the car in the course of a task, and start its clock.

    Where the task was finished before and its own clock runs, the product's facts take that
    clock's place. Raises NotFound, Refused, and InvalidRequest for a product of another workshop
    or one that is hidden.
    """
    job = job_for_change(caller, job_id)
    task = job.tasks.filter(pk=task_id).first()
    if task is None:
        raise NotFound("This job has no such task.")
    check(job, refuse_noting(job.state))
    if task.state == Task.State.DROPPED:
        check(job, Refusal("dropped", "This task was dropped.", "Add the operation again."))
    product = _product(caller, product_id)
    clock = _clock(job, task, product, occurred_at)
    use = ProductUse.objects.create(
        task=task,
        product=product,
        name=product.name,
        clock=clock,
        note=note,
        occurred_at=occurred_at,
        recorded_at=now(),
        actor=caller.name,
        actor_person_id=caller.person_id,
    )
    _write_down(job, use, caller)
    return Applied(use, clock)


def _write_down(job: Job, use: ProductUse, caller: Caller) -> None:
    data = {
        "use_id": str(use.pk),
        "product_id": str(use.product_id),
        "product": use.name,
        "task_id": str(use.task_id),
        "operation": use.task.operation,
    }
    entry = advance(
        job,
        kind=Kind.PRODUCT_USED,
        caller=caller,
        occurred_at=use.occurred_at,
        reason=use.note,
        data=data,
    )
    store(job, [entry])


def _product(caller: Caller, product_id: UUID) -> Product:
    product = products_of(caller, hidden=True).filter(pk=product_id).first()
    if product is None or product.hidden:
        message = "Your workshop has no such product; GET /api/v1/products lists them."
        if product is not None:
            message = f"{product.name} is not used any more; show it again first."
        raise InvalidRequest(message, errors=[{"field": "product_id", "message": message}])
    return product


def _clock(job: Job, task: Task, product: Product, at: datetime) -> WaitClock | None:
    wait = _wait_of(product)
    if wait is None:
        return None
    own = WaitClock.objects.filter(
        task=task, kind=WaitClock.Kind.CURE, settled_at=None, use=None, coat=None
    )
    standing = own.order_by("-started_at").first() if task.state == Task.State.FINISHED else None
    if standing is None:
        return clock_start(job, task, wait, started_at=at)
    standing.reference_minutes, standing.reference_celsius = wait.minutes, wait.celsius
    standing.q10, standing.started_at, standing.summed_at = wait.q10, at, None
    standing.lowest_celsius, standing.highest_celsius = wait.lowest_celsius, wait.highest_celsius
    standing.save()
    renewed = renew(job)
    job.waits_told = renewed.until
    return next(clock for clock in renewed.clocks if clock.pk == standing.pk)
