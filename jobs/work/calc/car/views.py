"""The views a vehicle is photographed from, so that a before finds its after: our own list.

Left and right are as from the driver's seat, facing forward, whichever side the wheel is on.
"""

from types import MappingProxyType

VIEWS = MappingProxyType(
    {
        "front": "from the front",
        "front_left": "the front left corner",
        "left_side": "the left side",
        "back_left": "the back left corner",
        "back": "from the back",
        "back_right": "the back right corner",
        "right_side": "the right side",
        "front_right": "the front right corner",
        "roof": "the roof",
        "left_front_wheel": "the left front wheel",
        "left_rear_wheel": "the left rear wheel",
        "right_rear_wheel": "the right rear wheel",
        "right_front_wheel": "the right front wheel",
        "inside_front": "the front seats",
        "dashboard": "the dashboard",
        "inside_back": "the rear seats",
        "load_area": "the boot or load area",
        "engine_bay": "the engine bay",
    }
)
