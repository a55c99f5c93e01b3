"""Addresses of work orders and jobs."""

from django.urls import path

from jobs.work.api import jobs, orders, ready, work
from jobs.work.api.catalogue import urls as catalogue
from jobs.work.api.climate import urls as climate
from jobs.work.api.clocks import urls as clocks
from jobs.work.api.durations import urls as durations
from jobs.work.api.findings import urls as findings
from jobs.work.api.flow import urls as flow
from jobs.work.api.paint import urls as paint
from jobs.work.api.photos import urls as photos
from jobs.work.api.products import urls as products
from jobs.work.api.refinishing import urls as refinishing
from jobs.work.api.requests import urls as requests

urlpatterns = [
    path("work-orders", orders.WorkOrders.as_view()),
    path("work-orders/batch", orders.WorkOrderBatch.as_view()),
    path("work-orders/columns", orders.WorkOrderColumns.as_view()),
    path("work-orders/template", orders.WorkOrderTemplate.as_view()),
    path("work-orders/<uuid:job_id>", orders.WorkOrderDetail.as_view()),
    path("work-orders/<uuid:job_id>/accept", orders.WorkOrderAccept.as_view()),
    path("work-orders/<uuid:job_id>/decline", orders.WorkOrderDecline.as_view()),
    path("work-orders/<uuid:job_id>/cancel", orders.WorkOrderCancel.as_view()),
    path("jobs", jobs.JobList.as_view()),
    path("jobs/<uuid:job_id>", jobs.JobDetail.as_view()),
    path("jobs/<uuid:job_id>/history", jobs.JobHistory.as_view()),
    path("jobs/<uuid:job_id>/arrival", work.Arrival.as_view()),
    path("jobs/<uuid:job_id>/moves", work.Moves.as_view()),
    path("jobs/<uuid:job_id>/collection", work.Collection.as_view()),
    path("jobs/<uuid:job_id>/corrections", work.Corrections.as_view()),
    path("jobs/<uuid:job_id>/holds", work.Holds.as_view()),
    path("jobs/<uuid:job_id>/holds/<uuid:hold_id>/release", work.HoldRelease.as_view()),
    path("jobs/<uuid:job_id>/tasks", work.Tasks.as_view()),
    path("jobs/<uuid:job_id>/tasks/<uuid:task_id>/start", work.TaskStart.as_view()),
    path("jobs/<uuid:job_id>/tasks/<uuid:task_id>/finish", work.TaskFinish.as_view()),
    path("ready", ready.Ready.as_view()),
    *catalogue.urlpatterns,
    *findings.urlpatterns,
    *photos.urlpatterns,
    *paint.urlpatterns,
    *requests.urlpatterns,
    *refinishing.urlpatterns,
    *climate.urlpatterns,
    *clocks.urlpatterns,
    *products.urlpatterns,
    *durations.urlpatterns,
    *flow.urlpatterns,
]
