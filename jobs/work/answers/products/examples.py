"""Examples for the OpenAPI document: an invented product."""

from typing import Any

PRODUCT: dict[str, Any] = {
    "name": "Gloss for trim, long-lived",
    "operation": "trim_dressing",
    "reference_minutes": 150,
    "reference_celsius": 20.0,
    "q10": 2.0,
    "lowest_celsius": 5.0,
    "highest_celsius": 30.0,
    "apply_from_celsius": 10.0,
    "sheet": "Data sheet of January 2027, section 4",
}
SHOWN: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a72",
    **PRODUCT,
    "hidden": False,
    "updated_at": "2027-03-01T07:50:00Z",
}
