"""Products that cure, as the desk keeps them: each with what its own data sheet says."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.caller import Access, Caller
from core.forms import Field, PageForm
from core.problems import Conflict, InvalidRequest
from core.templatetags.look import minutes
from jobs.desk.base import MANAGERS, DeskPage
from jobs.desk.catalogue_operations import by_stage
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.calc.curing.cure import Cure
from jobs.work.inputs.products import LONGEST_NAME, LONGEST_SHEET, ProductChangeInput, ProductInput
from jobs.work.models import Product
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.products import product_of, products_of
from jobs.work.services.products import ProductChange, product_add, product_change

FIGURES = ("reference_celsius", "q10", "lowest_celsius", "highest_celsius", "apply_from_celsius")
PLAIN = ("name", "operation", "reference_minutes", "sheet")
ANY = "Any operation"


@dataclass(frozen=True, slots=True)
class Shown:
    """One product as the list shows it."""

    product: Product
    operation: str

    @property
    def facts(self) -> Sequence[str]:
        """Return in words what its sheet says."""
        product = self.product
        if not product.reference_minutes:
            return [self.operation, "need not cure"]
        return [
            self.operation,
            f"cures {minutes(product.reference_minutes)} at {product.reference_celsius:g} °C",
            f"{product.q10:g} times as fast 10 °C warmer",
            f"stands still below {product.lowest_celsius:g} °C",
            f"no quicker above {_ceiling(product):g} °C",
            f"goes on from {product.apply_from_celsius:g} °C",
        ]


def _operations_offered(catalogue: Catalogue, kept: str) -> list[tuple[str, str]]:
    """Return the operations a product may be used in; a hidden one only where it was kept."""
    return [
        (operation.code, f"{operation.name} (hidden)" if operation.hidden else operation.name)
        for operation in by_stage(catalogue)
        if not operation.hidden or operation.code == kept
    ]


def fields_of(catalogue: Catalogue, product: Product | None) -> list[Field]:
    """Return the fields of the form, for a new product where it is None."""
    offered = _operations_offered(catalogue, product.operation if product else "")
    return [
        Field("name", "Name", longest=LONGEST_NAME, required=True),
        Field(
            "operation",
            "Used in",
            "select",
            choices=[("", ANY), *offered],
            hint="Where it is the only one for an operation, finishing that work starts its clock.",
        ),
        Field(
            "reference_minutes",
            "Cures for, minutes",
            "number",
            required=True,
            hint="At the temperature below. 0: it need not cure.",
        ),
        Field("reference_celsius", "These minutes are told for, °C", value="15"),
        Field(
            "q10",
            "How many times as fast 10 °C warmer",
            value="2",
            hint="2: twice as fast 10 °C warmer, half as fast 10 °C colder. Where the sheet tells "
            "minutes for two temperatures 10 °C apart, divide the longer by the shorter.",
        ),
        Field("lowest_celsius", "Stands still below, °C", value="5"),
        Field(
            "highest_celsius",
            "Cures no quicker above, °C (optional)",
            hint="The warmest that the sheet gives a time for. Empty: 25 °C, or the temperature of "
            "the minutes where that is warmer.",
        ),
        Field(
            "apply_from_celsius",
            "Goes on from, °C",
            value="10",
            hint="Whoever puts it onto a colder panel is warned.",
        ),
        Field(
            "sheet",
            "Which data sheet says so",
            longest=LONGEST_SHEET,
            hint="Its name and date, so that somebody can look it up.",
        ),
    ]


def standing_of(product: Product) -> Mapping[str, Any]:
    """Return what stands in the form; figures without a needless nought behind the point."""
    plain = {name: getattr(product, name) for name in PLAIN}
    figures = {name: getattr(product, name) for name in FIGURES}
    shown = {name: "" if value is None else f"{value:g}" for name, value in figures.items()}
    return {**plain, **shown}


def _ceiling(product: Product) -> float:
    """Return the temperature above which it is given no credit: the sheet's, or ours."""
    cure = Cure(
        product.reference_minutes,
        product.reference_celsius,
        product.q10,
        product.lowest_celsius,
        product.highest_celsius,
    )
    return cure.ceiling_celsius


class DeskProducts(DeskPage):
    """All products."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGERS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show those in use, then those that are hidden."""
        catalogue = catalogue_of(caller.organisation_id)
        shown = [
            Shown(
                product,
                f"used in: {catalogue.name_of(product.operation)}" if product.operation else ANY,
            )
            for product in products_of(caller, hidden=True)
        ]
        return self.page(
            request,
            caller,
            "jobs/desk/products/list.html",
            here="set_up",
            used=[row for row in shown if not row.product.hidden],
            hidden=[row for row in shown if row.product.hidden],
        )


class ProductForm(DeskPage):
    """What shows the form of a product."""

    def shown(
        self,
        request: HttpRequest,
        caller: Caller,
        form: PageForm,
        *,
        product: Product | None = None,
        status: int = 200,
    ) -> HttpResponse:
        """Render it, perhaps with what is wrong in it."""
        return self.page(
            request,
            caller,
            "jobs/desk/products/product.html",
            status=status,
            here="set_up",
            form=form,
            product=product,
        )


class DeskProductNew(ProductForm):
    """A new product."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show an empty form."""
        fields = fields_of(catalogue_of(caller.organisation_id), None)
        return self.shown(request, caller, PageForm(ProductInput, fields))

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Add it."""
        fields = fields_of(catalogue_of(caller.organisation_id), None)
        form = PageForm(ProductInput, fields, typed=request.POST)
        if not form.is_valid():
            return self.shown(request, caller, form, status=400)
        try:
            added = product_add(caller=caller, product=form.taken)
        except (Conflict, InvalidRequest) as problem:
            form.add_problem(problem)
            return self.shown(request, caller, form, status=problem.status)
        said = f"Added: {added.name}. Compare its figures with the sheet once more."
        return self.done(request, reverse("desk_products"), said)


class DeskProduct(ProductForm):
    """One product."""

    def get(self, request: HttpRequest, caller: Caller, product_id: UUID) -> HttpResponse:
        """Show it as it stands."""
        product = product_of(caller, product_id)
        form = self.form(caller, product, standing=standing_of(product))
        return self.shown(request, caller, form, product=product)

    def post(self, request: HttpRequest, caller: Caller, product_id: UUID) -> HttpResponse:
        """Change it."""
        product = product_of(caller, product_id)
        form = self.form(caller, product, typed=request.POST)
        if not form.is_valid():
            return self.shown(request, caller, form, product=product, status=400)
        try:
            changed = product_change(caller=caller, product_id=product_id, changes=form.taken)
        except (Conflict, InvalidRequest) as problem:
            form.add_problem(problem)
            return self.shown(request, caller, form, product=product, status=problem.status)
        return self.done(request, reverse("desk_products"), f"Saved: {changed.name}.")

    @staticmethod
    def form(caller: Caller, product: Product, **about: Any) -> PageForm:
        """Return the form, as it stands or as it was sent."""
        fields = fields_of(catalogue_of(caller.organisation_id), product)
        return PageForm(ProductChangeInput, fields, partial=True, **about)


class DeskProductHide(DeskPage):
    """Hides a product, so that nobody picks it, or shows it again."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": MANAGERS}

    def post(self, request: HttpRequest, caller: Caller, product_id: UUID) -> HttpResponse:
        """Hide it where the form says so, else show it, and go back to the list."""
        hidden = request.POST.get("hidden") == "yes"
        changed = product_change(
            caller=caller, product_id=product_id, changes=ProductChange(hidden=hidden)
        )
        said = "Hidden" if hidden else "Shown again"
        return self.done(request, reverse("desk_products"), f"{said}: {changed.name}.")
