"""What callers see of a workshop's products."""

from typing import Any

from rest_framework import serializers

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


class ProductsOutput(serializers.Serializer[Any]):
    """The products."""

    products = ProductOutput(many=True)
