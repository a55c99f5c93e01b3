"""What callers see of a workshop's products."""

from dataclasses import dataclass
from typing import Annotated

from core.api.answers import Answer, Rows
from core.api.serializers import OutputModelSerializer
from jobs.work.models import Product


class ProductOutput(OutputModelSerializer):
    """A product as its data sheet says."""

    class Meta:
        model = Product
        fields = (
            "id",
            "name",
            "operation",
            "reference_minutes",
            "reference_celsius",
            "q10",
            "lowest_celsius",
            "highest_celsius",
            "apply_from_celsius",
            "sheet",
            "hidden",
            "updated_at",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductsOutput(Answer):
    """The products."""

    products: Annotated[Rows, ProductOutput(many=True)]
