"""Addresses of a workshop's operations and packages."""

from django.urls import URLPattern, path

from jobs.work.api.catalogue import views

urlpatterns: list[URLPattern] = [
    path("operations", views.Operations.as_view()),
    path("operations/<str:operation_code>", views.OperationDetail.as_view()),
    path("packages", views.Packages.as_view()),
    path("packages/<str:package_code>", views.PackageDetail.as_view()),
]
