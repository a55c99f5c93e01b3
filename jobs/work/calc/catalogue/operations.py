"""The operations of the trade, grouped by stage, and packages made of them: what we bring.

What a workshop makes of them is its catalogue (calc/catalogue/workshop.py).

Codes are our own. Standard minutes are invented but plausible figures for a medium car in
ordinary state; a workshop's own history will outrank them. Waiting minutes are cautious defaults
for the time a product or wet fabric needs before the car may go out, at 15 °C (and 60 % for what
dries); the air that is measured lengthens or shortens them, and the product's own data sheet
outranks them.
"""

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from jobs.work.calc.car.fuels import high_voltage_words
from jobs.work.calc.catalogue.cautions import (
    AIR,
    CHEMICALS,
    ENGINE,
    KEYING,
    MACHINE,
    MASKING,
    PAINT,
    SEATS,
    SILLS,
    SOLVENT,
    STEEL_WHEELS,
    WASH_WATER,
    WHEELS,
)
from jobs.work.calc.stages.machine import Stage


class Wording(StrEnum):
    """Whose words an operation or a package is in."""

    STANDARD = "standard"
    REWORDED = "reworded"
    OWN = "own"


@dataclass(frozen=True, slots=True)
class Operation:
    """One kind of work; `waits` is what it leaves behind: "cure", "drying" or nothing.

    `caution` is all there is to say whatever the vehicle runs on, `own_caution` what the workshop
    said of it. `near_high_voltage`: water or tools come near where high-voltage cable may lie. A
    hidden one cannot be ordered anew.
    """

    code: str
    name: str
    stage: Stage
    standard_minutes: int
    waits: str = ""
    wait_minutes: int = 0
    caution: str = ""
    own_caution: str = ""
    near_high_voltage: bool = False
    hidden: bool = False
    wording: Wording = Wording.STANDARD

    def caution_on(self, fuel: str = "") -> str:
        """Return what to mind on a vehicle that runs on `fuel`; "" is not known."""
        words = high_voltage_words(fuel) if self.near_high_voltage else ""
        return " ".join(filter(None, (words, self.caution)))


@dataclass(frozen=True, slots=True)
class Package:
    """Operations that are ordered together. A hidden one cannot be ordered anew."""

    code: str
    name: str
    operations: tuple[str, ...]
    hidden: bool = False
    wording: Wording = Wording.STANDARD


_ALL = (
    Operation("walk_round", "Walk-round and booking in", Stage.INTAKE, 10),
    Operation("personal_items", "Collect and log belongings", Stage.INTAKE, 10),
    Operation("wash_body", "Wash and dry the body", Stage.CLEANING, 35, caution=WASH_WATER),
    Operation(
        "decontaminate",
        "Lift tar, iron and sap from the paint",
        Stage.CLEANING,
        30,
        caution=CHEMICALS,
    ),
    Operation("clay_body", "Clay the paint", Stage.CLEANING, 40),
    Operation(
        "engine_bay",
        "Clean the engine bay",
        Stage.CLEANING,
        30,
        caution=ENGINE,
        near_high_voltage=True,
    ),
    Operation("shuts", "Clean door, boot and bonnet shuts", Stage.CLEANING, 20, caution=CHEMICALS),
    Operation("wheels_arches", "Clean wheels and arches", Stage.CLEANING, 30, caution=WHEELS),
    Operation(
        "underside_rinse",
        "Rinse the underside",
        Stage.CLEANING,
        15,
        caution=WASH_WATER,
        near_high_voltage=True,
    ),
    Operation("dust_interior", "Blow out and dust the interior", Stage.CLEANING, 15, caution=AIR),
    Operation("vacuum", "Vacuum the interior", Stage.CLEANING, 25),
    Operation("plastics", "Clean interior plastics", Stage.CLEANING, 25, caution=CHEMICALS),
    Operation(
        "wet_extraction",
        "Wet extraction of seats and carpets",
        Stage.CLEANING,
        60,
        waits="drying",
        wait_minutes=240,
        caution=SEATS,
    ),
    Operation("leather", "Clean and feed leather", Stage.CLEANING, 40, caution=SEATS),
    Operation("headlining", "Spot-clean the headlining", Stage.CLEANING, 20, caution=CHEMICALS),
    Operation("pet_hair", "Remove animal hair", Stage.CLEANING, 40),
    Operation("load_area", "Clean the load area", Stage.CLEANING, 20, near_high_voltage=True),
    Operation("glass", "Clean all glass", Stage.CLEANING, 15, caution=CHEMICALS),
    Operation("odour", "Treat an odour at its source", Stage.CLEANING, 30, caution=CHEMICALS),
    Operation(
        "sticker_removal",
        "Remove stickers, badges and lettering",
        Stage.CLEANING,
        45,
        caution=SOLVENT,
    ),
    Operation("paint_test", "Test the paint and measure its film", Stage.CORRECTION, 20),
    Operation(
        "polish_one_stage", "One-stage machine polish", Stage.CORRECTION, 120, caution=MACHINE
    ),
    Operation(
        "polish_two_stage", "Cut and refine by machine", Stage.CORRECTION, 240, caution=MACHINE
    ),
    Operation("polish_spot", "Spot-polish marks by machine", Stage.CORRECTION, 45, caution=MACHINE),
    Operation("headlamps", "Restore headlamp lenses", Stage.CORRECTION, 40, caution=MACHINE),
    Operation(
        "touch_in",
        "Touch in chips",
        Stage.CORRECTION,
        30,
        waits="cure",
        wait_minutes=60,
        caution=PAINT,
    ),
    Operation(
        "sills_refinish",
        "Refinish sills",
        Stage.CORRECTION,
        60,
        waits="cure",
        wait_minutes=240,
        caution=SILLS,
        near_high_voltage=True,
    ),
    Operation(
        "steel_wheels_refinish",
        "Refinish steel wheels",
        Stage.CORRECTION,
        90,
        waits="cure",
        wait_minutes=240,
        caution=STEEL_WHEELS,
    ),
    Operation("keying", "Key the surface for grip", Stage.CORRECTION, 15, caution=KEYING),
    Operation("panel_wipe", "Panel wipe before paint", Stage.CORRECTION, 5, caution=SOLVENT),
    Operation("masking", "Mask what is not painted", Stage.CORRECTION, 15, caution=MASKING),
    Operation(
        "primer",
        "Prime bare metal and keyed edges",
        Stage.CORRECTION,
        15,
        waits="cure",
        wait_minutes=60,
        caution=PAINT,
    ),
    Operation(
        "colour_coats",
        "Apply several light coats of colour",
        Stage.CORRECTION,
        30,
        waits="cure",
        wait_minutes=240,
        caution=PAINT,
    ),
    Operation(
        "lacquer",
        "Lacquer over the colour",
        Stage.CORRECTION,
        20,
        waits="cure",
        wait_minutes=240,
        caution=PAINT,
    ),
    Operation(
        "wax",
        "Wax the paint",
        Stage.CORRECTION,
        30,
        waits="cure",
        wait_minutes=30,
        caution=CHEMICALS,
    ),
    Operation(
        "coating",
        "Apply a hard coating",
        Stage.CORRECTION,
        90,
        waits="cure",
        wait_minutes=720,
        caution=SOLVENT,
    ),
    Operation(
        "trim_dressing",
        "Dress exterior trim",
        Stage.CORRECTION,
        20,
        waits="cure",
        wait_minutes=180,
        caution=CHEMICALS,
    ),
    Operation(
        "tyre_dressing",
        "Dress tyres",
        Stage.CORRECTION,
        10,
        waits="cure",
        wait_minutes=30,
        caution=CHEMICALS,
    ),
)
OPERATIONS = MappingProxyType({operation.code: operation for operation in _ALL})

_INSIDE = ("dust_interior", "vacuum", "plastics", "glass")
_OUTSIDE = ("wash_body", "shuts", "wheels_arches")
PACKAGES = MappingProxyType(
    {
        package.code: package
        for package in (
            Package("mini_valet", "Mini valet", ("wash_body", *_INSIDE)),
            Package(
                "full_valet",
                "Full valet",
                (
                    "walk_round",
                    "engine_bay",
                    *_OUTSIDE,
                    *_INSIDE,
                    "wet_extraction",
                    "load_area",
                    "tyre_dressing",
                ),
            ),
            Package(
                "retail_prep",
                "Retail prep",
                (
                    "walk_round",
                    "personal_items",
                    "engine_bay",
                    *_OUTSIDE,
                    "decontaminate",
                    *_INSIDE,
                    "wet_extraction",
                    "load_area",
                    "paint_test",
                    "polish_one_stage",
                    "touch_in",
                    "wax",
                    "trim_dressing",
                    "tyre_dressing",
                ),
            ),
            Package(
                "auction_prep",
                "Auction prep",
                ("walk_round", "personal_items", *_OUTSIDE, *_INSIDE, "tyre_dressing"),
            ),
        )
    }
)
