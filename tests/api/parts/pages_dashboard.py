"""The dealer's dashboard: cars, orders by form and by file, acknowledgements and answers."""

from typing import Any

from core.clock import now
from jobs.work.models import OrderImport
from tests.api.asking import opened
from tests.api.forms import Form
from tests.api.found import found
from tests.api.parts.furnishing import Furnishing

TABLE = """
GET    /dashboard/                                      ? --- +
GET    /dashboard/board                                 ? --- +
POST   /dashboard/seen                                  ? --- +
GET    /dashboard/cars/{job_id}                         ? --- +
GET    /dashboard/cars/{job_id}/change                  ? --- +
POST   /dashboard/cars/{job_id}/change                  ? --- +
GET    /dashboard/cars/{job_id}/cancel                  ? --- +
POST   /dashboard/cars/{job_id}/cancel                  ? --- +
POST   /dashboard/cars/{job_id}/acknowledge             ? --- +
POST   /dashboard/findings/{board_finding}/acknowledge  ? --- +
GET    /dashboard/findings/{stop_id}/clear              ? --- +
POST   /dashboard/findings/{stop_id}/clear              ? --- +
POST   /dashboard/requests/{board_request}/answer       ? --- +
GET    /dashboard/new                                   ? --- +
POST   /dashboard/new                                   ? --- +
GET    /dashboard/imports/new                           ? --- +
POST   /dashboard/imports/new                           ? --- +
GET    /dashboard/imports/{import_id}                   ? --- +
POST   /dashboard/imports/{import_id}/go-on             ? --- +
GET    /dashboard/imports/{import_id}/refused.csv       ? --- +
"""
_TYPED = "application/x-www-form-urlencoded"
_BOUNDARY = "shutline-tests-list"
_FILE = (
    f"--{_BOUNDARY}\r\n"
    'Content-Disposition: form-data; name="file"; filename="cars.csv"\r\n'
    "Content-Type: text/csv\r\n\r\n"
    "registration\nTU21 AZZ\n\r\n"
    f"--{_BOUNDARY}--\r\n"
).encode()
BODIES: dict[str, Any] = {
    "POST /dashboard/seen": Form(b"until=", _TYPED),
    "POST /dashboard/cars/{job_id}/change": Form(b"notes=Quick", _TYPED),
    "POST /dashboard/cars/{job_id}/cancel": Form(b"reason=Sold", _TYPED),
    "POST /dashboard/cars/{job_id}/acknowledge": Form(b"", _TYPED),
    "POST /dashboard/findings/{board_finding}/acknowledge": Form(b"", _TYPED),
    "POST /dashboard/findings/{stop_id}/clear": Form(b"how=repaired&by=Corm", _TYPED),
    "POST /dashboard/requests/{board_request}/answer": Form(b"answer=approve", _TYPED),
    "POST /dashboard/new": Form(b"registration=TU21+AZY", _TYPED),
    "POST /dashboard/imports/new": Form(_FILE, f"multipart/form-data; boundary={_BOUNDARY}"),
    "POST /dashboard/imports/{import_id}/go-on": Form(b"", _TYPED),
}


def furnish(world: Furnishing) -> None:
    """Make a finding, a request and a list for these addresses."""
    workshop = world.scene.workshop_api()
    world.put("board_finding", found(workshop, world.job)["id"])
    world.put("board_request", opened(workshop, world.job)["id"])
    kept = OrderImport.objects.create(
        dealer=world.scene.dealer,
        person=world.scene.staff,
        file_name="cars.csv",
        lines=[{"registration": "TU21 AZX"}, {"registration": ""}],
        started_at=now(),
    )
    world.put("import_id", str(kept.pk))
