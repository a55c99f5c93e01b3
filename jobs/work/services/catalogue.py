"""A workshop edits its catalogue: adds its own, rewords or hides ours, goes back to ours."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from accounts.caller import Caller
from core.clock import now
from core.left_out import LEFT_OUT, LeftOut, named, or_else
from core.problems import Conflict, FieldError, InvalidRequest, NotFound
from jobs.work.calc.catalogue.operations import OPERATIONS, PACKAGES
from jobs.work.calc.catalogue.operations import Operation as Work
from jobs.work.calc.catalogue.operations import Package as Bundle
from jobs.work.calc.catalogue.workshop import (
    MOST_OPERATIONS,
    MOST_PACKAGES,
    Catalogue,
    wait_refused,
)
from jobs.work.models import Operation, Package
from jobs.work.selectors.catalogue import catalogue_of, still_needed

LISTS = "GET /api/v1/operations and /packages list the codes."
# What makes one of our operations what it is; another stage or kind of wait is another operation.
OURS_ALONE = {
    "stage": "This operation of ours stays in its stage; add one of your own for another.",
    "waits": "What this operation of ours leaves behind stays; you may change its minutes.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationChange:
    """What changes of an operation; `own_caution` is the workshop's text beside ours."""

    name: str | LeftOut = LEFT_OUT
    stage: str | LeftOut = LEFT_OUT
    standard_minutes: int | LeftOut = LEFT_OUT
    waits: str | LeftOut = LEFT_OUT
    wait_minutes: int | LeftOut = LEFT_OUT
    own_caution: str | LeftOut = LEFT_OUT
    hidden: bool | LeftOut = LEFT_OUT


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOperation(OperationChange):
    """An operation of the workshop's own."""

    code: str
    name: str
    stage: str
    standard_minutes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageChange:
    """What changes of a package; `operations` are codes."""

    name: str | LeftOut = LEFT_OUT
    operations: Sequence[str] | LeftOut = LEFT_OUT
    hidden: bool | LeftOut = LEFT_OUT


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPackage(PackageChange):
    """A package of the workshop's own."""

    code: str
    name: str
    operations: Sequence[str]


def order_refused(catalogue: Catalogue, codes: Iterable[str], before: Iterable[str] = ()) -> str:
    """Return what is wrong with the codes of an order, every one named, or nothing.

    What was ordered `before` may stay, though the workshop has withdrawn it since.
    """
    fresh = [code for code in codes if code not in set(before)]
    return _refused(catalogue.unknown(fresh), catalogue.withdrawn(fresh), LISTS)


def work_refused(catalogue: Catalogue, codes: Iterable[str]) -> str:
    """Return what is wrong with codes that have to name operations, or nothing."""
    wanted = list(codes)
    unknown = [code for code in wanted if code not in catalogue.operations]
    gone = [code for code in wanted if code not in unknown and catalogue.operations[code].hidden]
    return _refused(unknown, gone, "GET /api/v1/operations lists the codes.", "Not operations")


def _refused(unknown: list[str], gone: list[str], lists: str, what: str = "Unknown") -> str:
    parts = [f"{what}: {', '.join(unknown)}."] if unknown else []
    if gone:
        parts.append(f"Not done here any more: {', '.join(gone)}.")
    return " ".join([*parts, lists]) if parts else ""


def check_codes(message: str, field: str = "operations") -> None:
    """Raise InvalidRequest where one of the functions above found something wrong."""
    if message:
        raise InvalidRequest(f"{field}: {message}", errors=[{"field": field, "message": message}])


@transaction.atomic
def operation_add(*, caller: Caller, operation: NewOperation) -> Work:
    """Add an operation of the workshop's own.

    Raises InvalidRequest where the wait does not fit together, and Conflict where the code is
    taken or there are too many.
    """
    row = _row(operation)
    _check_operation(row)
    catalogue = catalogue_of(caller.organisation_id)
    own = sum(code not in OPERATIONS for code in catalogue.operations)
    _check_room(own, MOST_OPERATIONS, "operations")
    _check_free(catalogue, operation.code)
    _create(Operation, caller.organisation_id, row)
    return catalogue_of(caller.organisation_id).operations[operation.code]


@transaction.atomic
def operation_change(*, caller: Caller, code: str, changes: OperationChange) -> Work:
    """Reword, hide or show an operation; one of ours is copied first.

    Ours keeps its stage and what it waits for. Raises NotFound and InvalidRequest.
    """
    before = _operation(catalogue_of(caller.organisation_id), code)
    row = {
        "name": before.name,
        "stage": before.stage.value,
        "standard_minutes": before.standard_minutes,
        "waits": before.waits,
        "wait_minutes": before.wait_minutes,
        "caution": before.own_caution,
        "hidden": before.hidden,
        **_row(changes),
    }
    _check_operation(row, ours=OPERATIONS.get(code))
    _put(Operation, caller.organisation_id, code, row)
    return catalogue_of(caller.organisation_id).operations[code]


@transaction.atomic
def operation_remove(*, caller: Caller, code: str) -> None:
    """Delete an operation of the workshop's own; one of ours goes back to how we say it.

    Raises NotFound, and Conflict where a car, a request or a package still needs it: a task that
    is finished without its operation would start no clock.
    """
    catalogue = catalogue_of(caller.organisation_id)
    _operation(catalogue, code)
    if code not in OPERATIONS:
        _check_unneeded(caller.organisation_id, catalogue, code)
    Operation.objects.filter(workshop_id=caller.organisation_id, code=code).delete()


@transaction.atomic
def package_add(*, caller: Caller, package: NewPackage) -> Bundle:
    """Add a package of the workshop's own.

    Raises InvalidRequest where it names what is no operation, and Conflict where the code is
    taken or there are too many.
    """
    catalogue = catalogue_of(caller.organisation_id)
    check_codes(work_refused(catalogue, package.operations))
    own = sum(code not in PACKAGES for code in catalogue.packages)
    _check_room(own, MOST_PACKAGES, "packages")
    _check_free(catalogue, package.code)
    _create(Package, caller.organisation_id, named(package))
    return catalogue_of(caller.organisation_id).packages[package.code]


@transaction.atomic
def package_change(*, caller: Caller, code: str, changes: PackageChange) -> Bundle:
    """Rename, refill, hide or show a package; one of ours is copied first.

    What is in it already may stay, though it was hidden since. Raises NotFound and InvalidRequest.
    """
    catalogue = catalogue_of(caller.organisation_id)
    before = _package(catalogue, code)
    fresh = [
        operation
        for operation in or_else(changes.operations, ())
        if operation not in before.operations
    ]
    check_codes(work_refused(catalogue, fresh))
    row = {
        "name": before.name,
        "operations": list(before.operations),
        "hidden": before.hidden,
        **named(changes),
    }
    _put(Package, caller.organisation_id, code, row)
    return catalogue_of(caller.organisation_id).packages[code]


@transaction.atomic
def package_remove(*, caller: Caller, code: str) -> None:
    """Delete a package of the workshop's own; one of ours goes back to how we say it.

    Cars that were ordered with it keep their tasks. Raises NotFound.
    """
    _package(catalogue_of(caller.organisation_id), code)
    Package.objects.filter(workshop_id=caller.organisation_id, code=code).delete()


def _row(sent: OperationChange) -> dict[str, Any]:
    """Return what was sent by the names of the columns."""
    return {
        "caution" if name == "own_caution" else name: value for name, value in named(sent).items()
    }


def _check_operation(row: Mapping[str, Any], ours: Work | None = None) -> None:
    errors: list[FieldError] = []
    if ours is not None:
        stands = {"stage": ours.stage.value, "waits": ours.waits}
        errors += [
            {"field": name, "message": OURS_ALONE[name]}
            for name, value in stands.items()
            if row[name] != value
        ]
    if message := wait_refused(row.get("waits", ""), row.get("wait_minutes", 0)):
        errors.append({"field": "wait_minutes", "message": message})
    if errors:
        said = "; ".join(f"{error['field']}: {error['message']}" for error in errors)
        raise InvalidRequest(said, errors=errors)


def _check_room(own: int, most: int, what: str) -> None:
    if own >= most:
        raise Conflict(
            f"There are {most} {what} of your own, which is the most.",
            next_step="Delete some that nobody uses.",
        )


def _check_free(catalogue: Catalogue, code: str) -> None:
    """Refuse a code that an operation or a package has: an order names both in one list."""
    if not catalogue.unknown([code]):
        raise _taken(code)


def _taken(code: str) -> Conflict:
    return Conflict(
        f"An operation or a package has the code {code} already.",
        next_step="Change that one, or choose another code.",
    )


def _check_unneeded(workshop_id: UUID, catalogue: Catalogue, code: str) -> None:
    named = [package.name for package in catalogue.packages.values() if code in package.operations]
    if named:
        raise Conflict(
            f"It is part of {', '.join(named)}.",
            next_step="Take it out of there first, or hide it.",
        )
    if cars := still_needed(workshop_id, code):
        raise Conflict(
            f"Cars that are not finished with need it: {', '.join(cars)}.",
            next_step="Hide it now, so that nobody orders it, and delete it when they are gone.",
        )


def _create(model: type[Operation | Package], workshop_id: UUID, row: Mapping[str, Any]) -> None:
    try:
        with transaction.atomic():
            model.objects.create(workshop_id=workshop_id, updated_at=now(), **row)
    except IntegrityError as error:
        raise _taken(row["code"]) from error


def _put(
    model: type[Operation | Package], workshop_id: UUID, code: str, row: Mapping[str, Any]
) -> None:
    model.objects.update_or_create(
        workshop_id=workshop_id, code=code, defaults={**row, "updated_at": now()}
    )


def _operation(catalogue: Catalogue, code: str) -> Work:
    if code not in catalogue.operations:
        raise NotFound("There is no such operation, or it is not yours.")
    return catalogue.operations[code]


def _package(catalogue: Catalogue, code: str) -> Bundle:
    if code not in catalogue.packages:
        raise NotFound("There is no such package, or it is not yours.")
    return catalogue.packages[code]
