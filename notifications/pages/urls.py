"""Addresses of the pages about notices."""

from collections.abc import Iterator

from django.urls import URLPattern, path

from notifications.pages import deliveries, endpoints, overview, replay
from notifications.pages.base import NoticesPage
from notifications.pages.kinds import EMAIL, WEBHOOK, Kind

ABOUT_ONE: tuple[tuple[str, str, type[NoticesPage]], ...] = (
    ("", "", deliveries.EndpointShow),
    ("/part", "_part", deliveries.EndpointPart),
    ("/state", "_state_part", deliveries.EndpointState),
    ("/edit", "_edit", endpoints.EndpointEdit),
    ("/switch", "_switch", endpoints.EndpointSwitch),
    ("/test", "_test", endpoints.EndpointTest),
    ("/delete", "_delete", endpoints.EndpointDelete),
    ("/deliveries/<uuid:delivery_id>/again", "_again", deliveries.DeliveryAgain),
    ("/replay", "_replay", replay.RangeReplay),
    ("/replay/next", "_replay_next", replay.ReplayNext),
    ("/replay/part", "_replay_part", replay.ReplayPart),
)


def addresses(kind: Kind, folder: str) -> Iterator[URLPattern]:
    """Yield the addresses of one kind of endpoint."""
    new = endpoints.EndpointNew.as_view(kind=kind)
    yield path(f"notices/{folder}/new", new, name=f"{kind.name}_new")
    for end, name, view in ABOUT_ONE:
        address = f"notices/{folder}/<uuid:endpoint_id>{end}"
        yield path(address, view.as_view(kind=kind), name=f"{kind.name}{name}")


urlpatterns = [
    path("notices/", overview.Notices.as_view(), name="notices"),
    path("notices/part", overview.NoticesPart.as_view(), name="notices_part"),
    *addresses(WEBHOOK, "webhooks"),
    path(
        "notices/webhooks/<uuid:endpoint_id>/secret",
        endpoints.SecretRotate.as_view(kind=WEBHOOK),
        name="webhook_secret",
    ),
    *addresses(EMAIL, "email"),
]
