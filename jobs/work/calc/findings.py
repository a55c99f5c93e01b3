"""Kinds of finding, their weights in plain words, and the caution that some must carry."""

from enum import StrEnum

from jobs.work.calc.stages.machine import Refusal


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


class Over(StrEnum):
    """How a "do not drive" came to its end; one that is transported is still not driven."""

    REPAIRED = "repaired"
    TRANSPORTED = "transported"
    WITHDRAWN = "withdrawn"


# Cleared by whoever sees it done; withdrawn only by who reported it, or a manager.
CLEARED = (Over.REPAIRED, Over.TRANSPORTED)
SAFE = frozenset({Over.REPAIRED, Over.WITHDRAWN})
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


def keeps_off_the_road(weight: str, over: str) -> bool:
    """Return whether the vehicle must not be driven: not repaired, and not withdrawn.

    Transport takes it away; it does not make it safe. `over`: how it ended, or nothing.
    """
    return weight == Weight.DO_NOT_DRIVE and over not in SAFE


def ends_with(over: str, how: Over) -> bool:
    """Return whether `how` changes what stands: the first does, and safe follows on transported."""
    return not over or (over == Over.TRANSPORTED and how in SAFE)


def refuse_ending(weight: str) -> Refusal | None:
    """Return why a finding cannot be cleared or withdrawn, or None."""
    if weight == Weight.DO_NOT_DRIVE:
        return None
    return Refusal(
        "not_do_not_drive",
        "Only a “do not drive” is cleared or withdrawn; this finding holds no car.",
        "Let the dealer acknowledge it, or report what is so as another finding.",
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
