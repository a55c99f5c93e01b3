"""Kinds of finding, their weights in plain words, and the caution that some must carry."""

from enum import StrEnum


class FindingKind(StrEnum):
    """What a finding is about."""

    MECHANICAL = "mechanical"
    BODY_AND_PAINT = "body_and_paint"
    GLASS_AND_LIGHTS = "glass_and_lights"
    WHEELS_AND_TYRES = "wheels_and_tyres"
    INTERIOR = "interior"
    ELECTRICAL = "electrical"
    MISSING_OR_EXTRA = "missing_or_extra"
    PROVENANCE = "provenance"
    BELONGINGS = "belongings"


class Weight(StrEnum):
    """How much it matters."""

    FOR_INFORMATION = "for_information"
    BEFORE_SALE = "before_sale"
    DO_NOT_DRIVE = "do_not_drive"


WEIGHT_WORDS = {
    Weight.FOR_INFORMATION: "for information",
    Weight.BEFORE_SALE: "needs attention before sale",
    Weight.DO_NOT_DRIVE: "do not drive",
}
INSPECT = (
    "This is what was seen or heard, not a diagnosis. "
    "A qualified technician must inspect it before the vehicle is used or sold."
)
_TECHNICAL = frozenset(
    {FindingKind.MECHANICAL, FindingKind.ELECTRICAL, FindingKind.WHEELS_AND_TYRES}
)


def caution_for(kind: FindingKind, weight: Weight) -> str:
    """Return the caution a finding carries: mechanical and safety findings have one, others none.

    Whatever keeps a vehicle off the road concerns safety, whichever kind it is, and so do glass
    and lights that need attention: the driver must see and be seen.
    """
    safety = weight is Weight.DO_NOT_DRIVE or (
        kind is FindingKind.GLASS_AND_LIGHTS and weight is Weight.BEFORE_SALE
    )
    return INSPECT if kind in _TECHNICAL or safety else ""
