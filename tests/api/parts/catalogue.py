"""A workshop's operations and packages."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import done

TABLE = """
GET    /api/v1/operations                                                 ? +++ + ++++++ ++++
POST   /api/v1/operations                                                 ? ++- - --+--- ----
PATCH  /api/v1/operations/{operation_code}                                ? ++- - --+--- ----
DELETE /api/v1/operations/{operation_code}                                ? ++- - --+--- ----
GET    /api/v1/packages                                                   ? +++ + ++++++ ++++
POST   /api/v1/packages                                                   ? ++- - --+--- ----
PATCH  /api/v1/packages/{package_code}                                    ? ++- - --+--- ----
DELETE /api/v1/packages/{package_code}                                    ? ++- - --+--- ----
"""
OPERATION: dict[str, Any] = {
    "code": "roof_box",
    "name": "Clean the roof box",
    "stage": "cleaning",
    "standard_minutes": 25,
}
PACKAGE: dict[str, Any] = {
    "code": "holiday_return",
    "name": "Back from the holidays",
    "operations": ["vacuum"],
}
BODIES: dict[str, Any] = {
    "POST /api/v1/operations": {**OPERATION, "code": "roof_bars"},
    "PATCH /api/v1/operations/{operation_code}": {"name": "Clean the roof box inside and out"},
    "POST /api/v1/packages": {**PACKAGE, "code": "winter_return"},
    "PATCH /api/v1/packages/{package_code}": {"operations": ["vacuum", "glass"]},
}


def furnish(world: Furnishing) -> None:
    """Make an operation and a package of the workshop's own."""
    workshop = world.scene.workshop_api()
    done(workshop.post("/operations", OPERATION))
    done(workshop.post("/packages", PACKAGE))
    world.put("operation_code", OPERATION["code"])
    world.put("package_code", PACKAGE["code"])
