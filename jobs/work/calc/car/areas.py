"""The areas of a vehicle that findings, readings and pictures are named by: our own list.

Left and right are as from the driver's seat, facing forward, whichever side the wheel is on.
"""

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType


class Group(StrEnum):
    """What kind of place an area is."""

    BODY = "body panels"
    GLASS = "glass and lights"
    WHEELS = "wheels and tyres"
    INSIDE = "inside"
    MECHANICAL = "under the bonnet and underneath"
    WHOLE = "the whole vehicle"


class Side(StrEnum):
    """Which side, from the driver's seat."""

    LEFT = "left"
    RIGHT = "right"
    NONE = ""


@dataclass(frozen=True, slots=True)
class Area:
    """One place on a vehicle; `twin` is the same place on the other side, where there is one."""

    code: str
    name: str
    group: Group
    side: Side = Side.NONE
    twin: str = ""

    @property
    def is_panel(self) -> bool:
        """Return whether paint readings are taken here."""
        return self.group is Group.BODY


def _pair(stem: str, name: str, group: Group) -> tuple[Area, Area]:
    left, right = f"left_{stem}", f"right_{stem}"
    return (
        Area(left, f"left {name}", group, Side.LEFT, right),
        Area(right, f"right {name}", group, Side.RIGHT, left),
    )


_ALL = (
    Area("bonnet", "bonnet", Group.BODY),
    Area("roof", "roof", Group.BODY),
    Area("tailgate", "tailgate or boot lid", Group.BODY),
    Area("front_bumper", "front bumper", Group.BODY),
    Area("rear_bumper", "rear bumper", Group.BODY),
    *_pair("front_wing", "front wing", Group.BODY),
    *_pair("front_door", "front door", Group.BODY),
    *_pair("rear_door", "rear or sliding door", Group.BODY),
    *_pair("quarter_panel", "rear quarter or load side panel", Group.BODY),
    *_pair("sill", "sill", Group.BODY),
    *_pair("roof_rail", "roof rail or screen pillar", Group.BODY),
    *_pair("load_door", "load door at the back", Group.BODY),
    *_pair("door_mirror", "door mirror", Group.BODY),
    Area("windscreen", "windscreen", Group.GLASS),
    Area("rear_window", "rear window", Group.GLASS),
    Area("roof_window", "roof window", Group.GLASS),
    *_pair("front_window", "front door window", Group.GLASS),
    *_pair("rear_side_window", "rear side window", Group.GLASS),
    *_pair("headlamp", "headlamp", Group.GLASS),
    *_pair("tail_lamp", "tail lamp", Group.GLASS),
    *_pair("front_wheel", "front wheel and tyre", Group.WHEELS),
    *_pair("rear_wheel", "rear wheel and tyre", Group.WHEELS),
    Area("spare_wheel", "spare wheel", Group.WHEELS),
    Area("driver_seat", "driver's seat", Group.INSIDE),
    Area("front_passenger_seat", "front passenger seat", Group.INSIDE),
    Area("rear_seats", "rear seats", Group.INSIDE),
    Area("dashboard", "dashboard and controls", Group.INSIDE),
    Area("carpets", "carpets and mats", Group.INSIDE),
    Area("headlining", "headlining", Group.INSIDE),
    Area("door_cards", "door cards", Group.INSIDE),
    Area("load_area", "boot or load area", Group.INSIDE),
    Area("shuts", "shuts", Group.INSIDE),
    Area("engine_bay", "engine bay", Group.MECHANICAL),
    Area("underside", "underside", Group.MECHANICAL),
    Area("exhaust", "exhaust", Group.MECHANICAL),
    Area("brakes", "brakes", Group.MECHANICAL),
    Area("steering", "steering and suspension", Group.MECHANICAL),
    Area("gearbox", "gearbox and clutch", Group.MECHANICAL),
    Area("battery", "battery and charging", Group.MECHANICAL),
    Area("whole_vehicle", "the whole vehicle", Group.WHOLE),
)
AREAS = MappingProxyType({area.code: area for area in _ALL})
PANELS = MappingProxyType({area.code: area for area in _ALL if area.is_panel})
