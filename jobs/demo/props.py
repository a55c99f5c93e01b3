"""What the day finds on the cars: what is sent, and what the closing expects to read back."""

from typing import Any

SLATE = "#5d6a75"

# The car of the first test drive, as it came and as it left: a mile driven, a key kept.
SELA_CAME: dict[str, Any] = {
    "mileage": 28904,
    "mileage_unit": "miles",
    "fuel_percent": 45,
    "keys_count": 2,
    "items": {"spare_wheel": "present", "load_cover": "present", "charging_cable": "absent"},
    "damage": [{"area": "rear_bumper", "noticed": "scuff on the left corner"}],
}
SELA_LEAVES: dict[str, Any] = {**SELA_CAME, "mileage": 28905, "fuel_percent": 44, "keys_count": 1}
LEFT_BEHIND = "sunglasses in a case"
LENS = "Side marker lens"
CHIPS: dict[str, Any] = {
    "what": "Touch in the stone chips on the bonnet",
    "why": "Seven chips down to the metal; rust has begun in two.",
    "if_not_done": "The rust goes on under the paint.",
    "operations": ["touch_in"],
    "minutes": 30,
    "price": "45.00",
    "currency": "GBP",
}
BRAKES: dict[str, Any] = {
    "kind": "mechanical",
    "weight": "do_not_drive",
    "area": "left_rear_wheel",
    "noticed": "Fluid down the inside of the wheel; the brake pedal goes far down.",
    "circumstance": "standing, after the wash",
    "advice": "Move it on a trailer only.",
}
WORN_TYRE: dict[str, Any] = {
    "kind": "wheels_and_tyres",
    "weight": "before_sale",
    "area": "left_front_wheel",
    "noticed": "Tread worn down to the wear bar on the inner edge.",
    "advice": "Have the tyre and the wheel alignment looked at before sale.",
}

# Single readings in microns by panel: one bonnet painted over, all else within a usual spread.
REPAIRED = "bonnet"
FILM: dict[str, tuple[float, ...]] = {
    "bonnet": (258.0, 264.0, 261.0),
    "roof": (104.0, 106.0, 105.0),
    "tailgate": (113.0, 110.0, 112.0),
    "left_front_wing": (117.0, 119.0, 115.0),
    "right_front_wing": (109.0, 112.0, 111.0),
    "left_front_door": (115.0, 113.0, 116.0),
    "right_front_door": (108.0, 110.0, 107.0),
    "left_rear_door": (112.0, 111.0, 114.0),
    "right_rear_door": (118.0, 116.0, 117.0),
    "left_quarter_panel": (106.0, 108.0, 107.0),
    "right_quarter_panel": (114.0, 112.0, 111.0),
}
PLASTIC = ("front_bumper", "rear_bumper")
