"""A workshop's products that cure, over HTTP."""

from dataclasses import replace
from typing import ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, workshops
from core.api.examples import answered, sent
from jobs.work.answers.products import examples
from jobs.work.answers.products.outputs import ProductOutput, ProductsOutput
from jobs.work.api.findings.phrases import wants_hidden
from jobs.work.inputs.products import ProductChangeInput, ProductInput
from jobs.work.selectors.products import product_of, products_of
from jobs.work.services.products import product_add, product_change

READ = workshops(Scope.READ)
# Of people only those who answer for the workshop: times of every car follow from these figures.
WRITE = replace(workshops(Scope.WORK), roles=frozenset({"owner", "manager"}))


class Products(ApiView):
    """The products of a workshop."""

    access: ClassVar[dict[str, Access]] = {"GET": READ, "POST": WRITE}
    query_names = frozenset({"hidden"})

    @extend_schema(
        operation_id="product_list",
        tags=["catalogue"],
        parameters=[OpenApiParameter("hidden", bool, description="True: those hidden as well.")],
        responses={200: ProductsOutput},
        examples=[answered("One product", {"products": [examples.SHOWN]})],
    )
    def get(self, request: Request) -> Response:
        """List the workshop's products by name, with what their data sheets say of curing."""
        found = products_of(caller_of(request), hidden=wants_hidden(request))
        return Response(ProductsOutput(products=ProductOutput.rows(found)))

    @extend_schema(
        operation_id="product_add",
        tags=["catalogue"],
        request=ProductInput,
        responses={201: ProductOutput},
        examples=[sent("A dressing", examples.PRODUCT), answered("It", examples.SHOWN, 201)],
    )
    def post(self, request: Request) -> Response:
        """Add a product; copy its figures from the data sheet.

        Where it is the only one for its operation, finishing such a task starts a clock by it.
        """
        product = self.read(ProductInput, request)
        added = product_add(caller=caller_of(request), product=product)
        return Response(ProductOutput(added).data, status=201)


class ProductDetail(ApiView):
    """One product."""

    access: ClassVar[dict[str, Access]] = {"GET": READ, "PATCH": WRITE}

    @extend_schema(
        operation_id="product_read",
        tags=["catalogue"],
        responses={200: ProductOutput},
        examples=[answered("A dressing", examples.SHOWN)],
    )
    def get(self, request: Request, product_id: UUID) -> Response:
        """Read one product."""
        return Response(ProductOutput(product_of(caller_of(request), product_id)).data)

    @extend_schema(
        operation_id="product_change",
        tags=["catalogue"],
        request=ProductChangeInput,
        responses={200: ProductOutput},
        examples=[
            sent("A newer sheet", {"reference_minutes": 180}),
            answered("It", {**examples.SHOWN, "reference_minutes": 180}),
        ],
    )
    def patch(self, request: Request, product_id: UUID) -> Response:
        """Change a product, or hide it; clocks that run keep what they were started with."""
        changes = self.read(ProductChangeInput, request, partial=True)
        changed = product_change(caller=caller_of(request), product_id=product_id, changes=changes)
        return Response(ProductOutput(changed).data)


urlpatterns = [
    path("products", Products.as_view()),
    path("products/<uuid:product_id>", ProductDetail.as_view()),
]
