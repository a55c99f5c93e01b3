"""Addresses of a workshop's products."""

from django.urls import URLPattern, path

from jobs.work.pages.desk.products import DeskProduct, DeskProductHide, DeskProductNew, DeskProducts

ONE = "desk/products/<uuid:product_id>"

urlpatterns: list[URLPattern] = [
    path("desk/products", DeskProducts.as_view(), name="desk_products"),
    path("desk/new-product", DeskProductNew.as_view(), name="desk_product_new"),
    path(ONE, DeskProduct.as_view(), name="desk_product"),
    path(f"{ONE}/hide", DeskProductHide.as_view(), name="desk_product_hide"),
]
