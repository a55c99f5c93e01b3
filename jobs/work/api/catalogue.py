"""A workshop's operations and packages over HTTP: read by both sides, edited by the workshop."""

from typing import ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either, workshops
from core.api.examples import answered, sent
from core.problems import InvalidRequest
from jobs.work.answers.catalogue import examples
from jobs.work.answers.catalogue.outputs import (
    OperationOutput,
    OperationsOutput,
    PackageOutput,
    PackagesOutput,
    operation_shown,
    package_shown,
)
from jobs.work.api.findings.phrases import wants_hidden
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.inputs.catalogue import (
    OperationChangeInput,
    OperationInput,
    PackageChangeInput,
    PackageInput,
    read_with_codes,
)
from jobs.work.selectors.catalogue import catalogue_of, workshop_asked
from jobs.work.services.catalogue import (
    operation_add,
    operation_change,
    operation_remove,
    package_add,
    package_change,
    package_remove,
    work_refused,
)

QUERY = frozenset({"hidden", "workshop_id"})
PARAMETERS = [
    OpenApiParameter("hidden", bool, description="True: show those hidden as well."),
    OpenApiParameter(
        "workshop_id", UUID, description="Needed only by a dealer with several workshops."
    ),
]
NO_SUCH_WORKSHOP: dict[str, tuple[str, ...]] = {"GET": ("404",)}
# Anybody may read what can be ordered; what it is, is for the owner and managers to say.
LIST: dict[str, Access] = {"GET": either(None), "POST": workshops(Scope.DECIDE)}
DETAIL: dict[str, Access] = {
    "PATCH": workshops(Scope.DECIDE),
    "DELETE": workshops(Scope.DECIDE),
}


def catalogue_asked(request: Request) -> Catalogue:
    """Return the catalogue that the query asks for. Raises InvalidRequest for what is no id."""
    named = request.query_params.get("workshop_id")
    try:
        workshop_id = UUID(named) if named is not None else None
    except ValueError as error:
        message = "Send the workshop's id; GET /api/v1/trade-accounts has it."
        raise InvalidRequest(
            f"workshop_id: {message}", errors=[{"field": "workshop_id", "message": message}]
        ) from error
    return catalogue_of(workshop_asked(caller_of(request), workshop_id))


class Operations(ApiView):
    """The operations of a workshop."""

    access: ClassVar[dict[str, Access]] = LIST
    query_names = QUERY
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = NO_SUCH_WORKSHOP

    @extend_schema(
        operation_id="operation_list",
        tags=["catalogue"],
        parameters=PARAMETERS,
        responses={200: OperationsOutput},
        examples=[answered("One operation", {"operations": [examples.OPERATION]})],
    )
    def get(self, request: Request) -> Response:
        """List what a workshop does, with stage, standard minutes and caution.

        Ours come first, in the workshop's words where it has some, then its own. A dealer reads
        those of its workshop.
        """
        hidden, catalogue = wants_hidden(request), catalogue_asked(request)
        listed = catalogue.operations.values() if hidden else catalogue.shown_operations()
        return Response(
            OperationsOutput(operations=[operation_shown(operation) for operation in listed])
        )

    @extend_schema(
        operation_id="operation_add",
        tags=["catalogue"],
        request=OperationInput,
        responses={201: OperationOutput},
        examples=[
            sent("A roof box", examples.OWN),
            answered("It", examples.OWN_SHOWN, 201),
        ],
    )
    def post(self, request: Request) -> Response:
        """Add an operation of the workshop's own; dealers can order it from then on."""
        added = operation_add(
            caller=caller_of(request), operation=self.read(OperationInput, request)
        )
        return Response(operation_shown(added), status=201)


class OperationDetail(ApiView):
    """One operation."""

    access: ClassVar[dict[str, Access]] = DETAIL

    @extend_schema(
        operation_id="operation_change",
        tags=["catalogue"],
        request=OperationChangeInput,
        responses={200: OperationOutput},
        examples=[
            sent("In our words", examples.REWORDING),
            answered("It", examples.REWORDED),
        ],
    )
    def patch(self, request: Request, operation_code: str) -> Response:
        """Reword an operation, change its minutes, or hide it; ours as well.

        A caution of ours stays, and `own_caution` stands beside it. Ours keep their stage and
        what they wait for. Tasks that cars have already stay as they are.
        """
        changes = self.read(OperationChangeInput, request, partial=True)
        changed = operation_change(caller=caller_of(request), code=operation_code, changes=changes)
        return Response(operation_shown(changed))

    @extend_schema(operation_id="operation_remove", tags=["catalogue"], responses={204: None})
    def delete(self, request: Request, operation_code: str) -> Response:
        """Delete an operation of the workshop's own; one of ours goes back to our words.

        One that a package names or an open car still needs cannot be deleted: hide it.
        """
        operation_remove(caller=caller_of(request), code=operation_code)
        return Response(status=204)


class Packages(ApiView):
    """The packages of a workshop."""

    access: ClassVar[dict[str, Access]] = LIST
    query_names = QUERY
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = NO_SUCH_WORKSHOP

    @extend_schema(
        operation_id="package_list",
        tags=["catalogue"],
        parameters=PARAMETERS,
        responses={200: PackagesOutput},
        examples=[answered("One package", {"packages": [examples.PACKAGE]})],
    )
    def get(self, request: Request) -> Response:
        """List a workshop's packages and the operations in each."""
        hidden, catalogue = wants_hidden(request), catalogue_asked(request)
        listed = catalogue.packages.values() if hidden else catalogue.shown_packages()
        return Response(PackagesOutput(packages=[package_shown(package) for package in listed]))

    @extend_schema(
        operation_id="package_add",
        tags=["catalogue"],
        request=PackageInput,
        responses={201: PackageOutput},
        examples=[
            sent("Back from the holidays", examples.OWN_PACKAGE),
            answered("It", examples.OWN_PACKAGE_SHOWN, 201),
        ],
    )
    def post(self, request: Request) -> Response:
        """Add a package of the workshop's own."""
        caller = caller_of(request)
        package = read_with_codes(
            PackageInput(data=request.data),
            lambda codes: work_refused(catalogue_of(caller.organisation_id), codes),
        )
        return Response(package_shown(package_add(caller=caller, package=package)), status=201)


class PackageDetail(ApiView):
    """One package."""

    access: ClassVar[dict[str, Access]] = DETAIL

    @extend_schema(
        operation_id="package_change",
        tags=["catalogue"],
        request=PackageChangeInput,
        responses={200: PackageOutput},
        examples=[
            sent("Less of it", examples.PACKAGE_REFILL),
            answered("It", examples.PACKAGE_REFILLED),
        ],
    )
    def patch(self, request: Request, package_code: str) -> Response:
        """Rename a package, say what is in it, or hide it; ours as well.

        Cars that were ordered with it keep the tasks they have.
        """
        changes = self.read(PackageChangeInput, request, partial=True)
        changed = package_change(caller=caller_of(request), code=package_code, changes=changes)
        return Response(package_shown(changed))

    @extend_schema(operation_id="package_remove", tags=["catalogue"], responses={204: None})
    def delete(self, request: Request, package_code: str) -> Response:
        """Delete a package of the workshop's own; one of ours goes back to how we say it."""
        package_remove(caller=caller_of(request), code=package_code)
        return Response(status=204)


urlpatterns = [
    path("operations", Operations.as_view()),
    path("operations/<str:operation_code>", OperationDetail.as_view()),
    path("packages", Packages.as_view()),
    path("packages/<str:package_code>", PackageDetail.as_view()),
]
