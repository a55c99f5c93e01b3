"""Addresses of endpoints, recipients and events."""

from django.urls import path

from notifications.api import email_recipients, events, webhook_endpoints

WEBHOOK = "webhook-endpoints/<uuid:endpoint_id>"
EMAIL = "email-recipients/<uuid:endpoint_id>"

urlpatterns = [
    path("webhook-endpoints", webhook_endpoints.WebhookEndpoints.as_view()),
    path(WEBHOOK, webhook_endpoints.WebhookEndpointDetail.as_view()),
    path(f"{WEBHOOK}/rotate-secret", webhook_endpoints.WebhookSecret.as_view()),
    path(f"{WEBHOOK}/test", webhook_endpoints.WebhookTest.as_view()),
    path(f"{WEBHOOK}/deliveries", webhook_endpoints.WebhookDeliveries.as_view()),
    path(
        f"{WEBHOOK}/deliveries/<uuid:delivery_id>/replay",
        webhook_endpoints.WebhookDeliveryReplay.as_view(),
    ),
    path(f"{WEBHOOK}/replay", webhook_endpoints.WebhookReplay.as_view()),
    path("email-recipients", email_recipients.EmailRecipients.as_view()),
    path(EMAIL, email_recipients.EmailRecipientDetail.as_view()),
    path(f"{EMAIL}/test", email_recipients.EmailTest.as_view()),
    path(f"{EMAIL}/deliveries", email_recipients.EmailDeliveries.as_view()),
    path("events", events.EventFeed.as_view()),
    path("event-types", events.EventTypeList.as_view()),
]
