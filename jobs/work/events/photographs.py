"""How events show a picture: what it is of, and links that work for a while."""

from typing import Any

from jobs.work.events.jobs import ID, TEXT, TIME, JsonSchema, shape
from jobs.work.models.photographs import SIZES, Photo

LINK: JsonSchema = {"type": "string", "format": "uri"}
PICTURE = shape(
    id=ID,
    view=TEXT,
    area=TEXT,
    moment={"enum": list(Photo.Moment.values)},
    caption=TEXT,
    links=shape(**{str(size): LINK for size in SIZES}),
    expires_at=TIME,
)
_ADDRESS = "https://shutline.example/api/v1/photos/01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2d"
_PROOF = "until=1804500000&signature=c2lnbmVkLWFzLWFuLWV4YW1wbGUtb25seQ"
PICTURE_EXAMPLE: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2d",
    "view": "left_side",
    "area": "left_rear_door",
    "moment": "before",
    "caption": "Dent below the handle",
    "links": {str(size): f"{_ADDRESS}/{size}?{_PROOF}" for size in SIZES},
    "expires_at": "2027-03-08T10:00:00Z",
}
PAIR_EXAMPLE = {**PICTURE_EXAMPLE, "moment": "pair", "area": "", "caption": ""}
