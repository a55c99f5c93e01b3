"""Examples for the OpenAPI document: an invented workshop's own way of working."""

from typing import Any

from core.api.examples import plain
from jobs.work.answers.catalogue.outputs import operation_shown, package_shown
from jobs.work.calc.catalogue.operations import OPERATIONS, PACKAGES

OPERATION: dict[str, Any] = plain(operation_shown(OPERATIONS["wet_extraction"]))
REWORDING: dict[str, Any] = {
    "name": "Wet-clean seats and carpets",
    "wait_minutes": 300,
    "own_caution": "The wet machine is on the left socket only.",
}
REWORDED: dict[str, Any] = {
    **OPERATION,
    **REWORDING,
    "caution": f"{OPERATION['caution']} {REWORDING['own_caution']}",
    "wording": "reworded",
}
OWN: dict[str, Any] = {
    "code": "roof_box",
    "name": "Take off and clean the roof box",
    "stage": "cleaning",
    "standard_minutes": 25,
    "own_caution": "Lift it in pairs.",
}
OWN_SHOWN: dict[str, Any] = {
    **OWN,
    "waits": "",
    "wait_minutes": 0,
    "caution": OWN["own_caution"],
    "hidden": False,
    "wording": "own",
}
PACKAGE: dict[str, Any] = plain(package_shown(PACKAGES["mini_valet"]))
PACKAGE_REFILL: dict[str, Any] = {"operations": ["wash_body", "vacuum", "glass"]}
PACKAGE_REFILLED: dict[str, Any] = {**PACKAGE, **PACKAGE_REFILL, "wording": "reworded"}
OWN_PACKAGE: dict[str, Any] = {
    "code": "holiday_return",
    "name": "Back from the holidays",
    "operations": ["roof_box", "wash_body", "vacuum"],
}
OWN_PACKAGE_SHOWN: dict[str, Any] = {**OWN_PACKAGE, "hidden": False, "wording": "own"}
