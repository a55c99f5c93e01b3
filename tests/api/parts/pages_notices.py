"""The pages about notices: for whoever looks after them on either side."""

from typing import Any

from tests.api.forms import Form

TABLE = """
GET    /notices/                                                    ? ++- +
GET    /notices/part                                                ? ++- +
GET    /notices/webhooks/new                                        ? ++- +
POST   /notices/webhooks/new                                        ? ++- +
GET    /notices/webhooks/{endpoint_id}                              ? ++- +
GET    /notices/webhooks/{endpoint_id}/part                         ? ++- +
GET    /notices/webhooks/{endpoint_id}/state                        ? ++- +
GET    /notices/webhooks/{endpoint_id}/edit                         ? ++- +
POST   /notices/webhooks/{endpoint_id}/edit                         ? ++- +
POST   /notices/webhooks/{endpoint_id}/switch                       ? ++- +
POST   /notices/webhooks/{endpoint_id}/test                         ? ++- +
GET    /notices/webhooks/{endpoint_id}/delete                       ? ++- +
POST   /notices/webhooks/{endpoint_id}/delete                       ? ++- +
POST   /notices/webhooks/{endpoint_id}/deliveries/{delivery_id}/again ? ++- +
GET    /notices/webhooks/{endpoint_id}/replay                       ? ++- +
POST   /notices/webhooks/{endpoint_id}/replay                       ? ++- +
POST   /notices/webhooks/{endpoint_id}/replay/next                  ? ++- +
GET    /notices/webhooks/{endpoint_id}/replay/part                  ? ++- +
GET    /notices/webhooks/{endpoint_id}/secret                       ? ++- +
POST   /notices/webhooks/{endpoint_id}/secret                       ? ++- +
GET    /notices/email/new                                           ? ++- +
POST   /notices/email/new                                           ? ++- +
GET    /notices/email/{endpoint_id}                                 ? ++- +
GET    /notices/email/{endpoint_id}/part                            ? ++- +
GET    /notices/email/{endpoint_id}/state                           ? ++- +
GET    /notices/email/{endpoint_id}/edit                            ? ++- +
POST   /notices/email/{endpoint_id}/edit                            ? ++- +
POST   /notices/email/{endpoint_id}/switch                          ? ++- +
POST   /notices/email/{endpoint_id}/test                            ? ++- +
GET    /notices/email/{endpoint_id}/delete                          ? ++- +
POST   /notices/email/{endpoint_id}/delete                          ? ++- +
POST   /notices/email/{endpoint_id}/deliveries/{delivery_id}/again  ? ++- +
GET    /notices/email/{endpoint_id}/replay                          ? ++- +
POST   /notices/email/{endpoint_id}/replay                          ? ++- +
POST   /notices/email/{endpoint_id}/replay/next                     ? ++- +
GET    /notices/email/{endpoint_id}/replay/part                     ? ++- +
"""
FORM = "application/x-www-form-urlencoded"
RANGE = Form(b"from=2027-03-01T09:00&to=2027-03-02T09:00&only_failed=on", FORM)
HOOK = Form(b"url=http%3A%2F%2F127.0.0.1%3A9%2Fanother", FORM)
LETTER = Form(b"email=another%40notices.example&event_types=job.ready", FORM)
BODIES: dict[str, Any] = {
    "POST /notices/webhooks/new": HOOK,
    "POST /notices/email/new": LETTER,
    "POST /notices/webhooks/{endpoint_id}/edit": HOOK,
    "POST /notices/email/{endpoint_id}/edit": LETTER,
    "POST /notices/webhooks/{endpoint_id}/replay": RANGE,
    "POST /notices/email/{endpoint_id}/replay": RANGE,
}
