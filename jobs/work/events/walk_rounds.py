"""The event of a walk-round."""

from collections.abc import Sequence
from typing import Any

from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.walk_rounds import ITEMS, WARNING_LIGHTS, Presence, Unit
from jobs.work.events.jobs import ID, TEXT, JsonSchema, kind, maybe, shape
from jobs.work.models import WalkRound
from notifications.catalogue import register

COUNT: JsonSchema = {"type": "integer"}
TEXTS: JsonSchema = {"type": "array", "items": TEXT}
WALK_ROUND_RECORDED = kind(
    "walk_round.recorded",
    "What the car was like when it came or when it left.",
    {
        "walk_round_id": ID,
        "occasion": {"enum": list(WalkRound.Occasion.values)},
        "mileage": maybe(COUNT),
        "mileage_unit": {"enum": ["", *(unit.value for unit in Unit)]},
        "fuel_percent": maybe(COUNT),
        "charge_percent": maybe(COUNT),
        "keys_count": maybe(COUNT),
        "warning_lights": {"type": "array", "items": {"enum": list(WARNING_LIGHTS)}},
        "absent_items": {"type": "array", "items": {"enum": list(ITEMS)}},
        "damage": {"type": "array", "items": shape(area={"enum": list(AREAS)}, noticed=TEXT)},
        "differences": {
            **TEXTS,
            "description": "On leaving: what is not as it was on arrival, in sentences.",
        },
    },
    {
        "walk_round_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a43",
        "occasion": "leaving",
        "mileage": 41253,
        "mileage_unit": "miles",
        "fuel_percent": 30,
        "charge_percent": None,
        "keys_count": 2,
        "warning_lights": ["tyre_pressure"],
        "absent_items": ["load_cover"],
        "damage": [{"area": "left_rear_door", "noticed": "A dent below the handle."}],
        "differences": ["The mileage grew by 3 miles."],
    },
)


register(WALK_ROUND_RECORDED)


def walk_round_data(record: WalkRound, found: Sequence[str]) -> dict[str, Any]:
    """Return what an event tells of a walk-round; `found`: the differences, in sentences."""
    return {
        "walk_round_id": record.pk,
        "occasion": record.occasion,
        "mileage": record.mileage,
        "mileage_unit": record.mileage_unit,
        "fuel_percent": record.fuel_percent,
        "charge_percent": record.charge_percent,
        "keys_count": record.keys_count,
        "warning_lights": record.warning_lights,
        "absent_items": [code for code, was in record.items.items() if was == Presence.ABSENT],
        "damage": [
            {"area": damage["area"], "noticed": damage["noticed"]} for damage in record.damage
        ],
        "differences": list(found),
    }
