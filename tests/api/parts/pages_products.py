"""The desk's pages about products that cure."""

from typing import Any

from core.clock import now
from jobs.work.models import Product
from tests.api.parts.furnishing import Form, Furnishing

TABLE = """
GET    /desk/products                           ? ++- -
GET    /desk/new-product                        ? ++- -
POST   /desk/new-product                        ? ++- -
GET    /desk/products/{kept_product}            ? ++- -
POST   /desk/products/{kept_product}            ? ++- -
POST   /desk/products/{kept_product}/hide       ? ++- -
"""


def typed(text: str) -> Form:
    """Return a form as a browser sends it."""
    return Form(text.encode(), "application/x-www-form-urlencoded")


SENT = (
    "name={}&operation=trim_dressing&reference_minutes=150&reference_celsius=15&q10=2"
    "&lowest_celsius=5&apply_from_celsius=10&sheet="
)
BODIES: dict[str, Any] = {
    "POST /desk/new-product": typed(SENT.format("Sill+wax")),
    "POST /desk/products/{kept_product}": typed(SENT.format("Trim+gloss")),
    "POST /desk/products/{kept_product}/hide": typed("hidden=yes"),
}


def furnish(world: Furnishing) -> None:
    """Add a product to the workshop."""
    product = Product.objects.create(
        workshop=world.scene.workshop,
        name="Seal 4",
        reference_minutes=120,
        updated_at=now(),
    )
    world.put("kept_product", str(product.pk))
