"""Addresses of requests."""

from django.urls import URLPattern, path

from jobs.work.api.requests import views

urlpatterns: list[URLPattern] = [
    path("jobs/<uuid:job_id>/requests", views.JobRequests.as_view()),
    path("jobs/<uuid:job_id>/changes/<int:number>/seen", views.ChangeSeen.as_view()),
    path("requests/<uuid:request_id>", views.RequestDetail.as_view()),
    path("requests/<uuid:request_id>/answer", views.RequestAnswer.as_view()),
    path("requests/<uuid:request_id>/reply", views.RequestReply.as_view()),
    path("requests/<uuid:request_id>/withdraw", views.RequestWithdraw.as_view()),
]
