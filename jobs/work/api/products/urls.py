"""Addresses: the products that cure, as their data sheets say."""

from django.urls import URLPattern, path

from jobs.work.api.products import views

urlpatterns: list[URLPattern] = [
    path("products", views.Products.as_view()),
    path("products/<uuid:product_id>", views.ProductDetail.as_view()),
]
