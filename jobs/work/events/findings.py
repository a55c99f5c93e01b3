"""The events of what was found on a car: findings and belongings.

Of belongings and personal data an event tells that they were found, never what they are: it
travels to mail boxes and systems that need not know.
"""

from collections.abc import Sequence
from typing import Any

from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.findings import CLEARED, WEIGHT_WORDS, FindingKind, Over, Weight, caution_for
from jobs.work.events.jobs import ID, TEXT, TIME, JsonSchema, kind
from jobs.work.events.photographs import PICTURE, PICTURE_EXAMPLE
from jobs.work.models import Finding
from notifications.catalogue import register

YES_OR_NO: JsonSchema = {"type": "boolean"}
# Said in the notice itself: whoever has e-mail only must learn what the car waits for.
ACKNOWLEDGE = (
    "The dealer acknowledges this, in its own system or by telephone to the workshop. "
    "Nobody moves the car until it is repaired or will be transported, and that is recorded."
)
STILL_NOT_DRIVEN = "It must still not be driven: transport takes it away, it does not make it safe."
_KIND: JsonSchema = {"enum": [finding_kind.value for finding_kind in FindingKind]}
_WEIGHT: JsonSchema = {"enum": [weight.value for weight in Weight]}
_SIDE: JsonSchema = {"enum": ["dealer", "workshop"]}
_FINDING_ID = "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a41"
_BELONGING_ID = "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a42"

FINDING_REPORTED = kind(
    "finding.reported",
    "The workshop noticed something that the dealer should know.",
    {
        "headline": {**TEXT, "description": "In one line; the subject of the e-mail."},
        "finding_id": ID,
        "kind": _KIND,
        "weight": {
            **_WEIGHT,
            "description": "do_not_drive goes to every endpoint that is on, whatever types it "
            "asked for.",
        },
        "weight_words": TEXT,
        "area": {"enum": list(AREAS)},
        "area_name": TEXT,
        "noticed": TEXT,
        "circumstance": TEXT,
        "advice": TEXT,
        "caution": {**TEXT, "description": "Show it wherever the finding is shown."},
        "next_step": {**TEXT, "description": "What has to be done now; else empty."},
        "withheld": {
            **YES_OR_NO,
            "description": "Belongings or personal data: what was found is only in the API.",
        },
        "from_paint_survey": YES_OR_NO,
        "pictures": {"type": "array", "items": PICTURE},
    },
    {
        "headline": "Needs attention before sale (left front wheel and tyre): "
        "A regular clicking from a front wheel.",
        "finding_id": _FINDING_ID,
        "kind": "mechanical",
        "weight": "before_sale",
        "weight_words": WEIGHT_WORDS[Weight.BEFORE_SALE],
        "area": "left_front_wheel",
        "area_name": AREAS["left_front_wheel"].name,
        "noticed": "A regular clicking from a front wheel.",
        "circumstance": "On full lock, moving",
        "advice": "Have it looked at before sale.",
        "caution": caution_for(FindingKind.MECHANICAL, Weight.BEFORE_SALE),
        "next_step": "",
        "withheld": False,
        "from_paint_survey": False,
        "pictures": [PICTURE_EXAMPLE],
    },
)
FINDING_ACKNOWLEDGED = kind(
    "finding.acknowledged",
    "The dealer has seen a finding, or was told of it.",
    {
        "finding_id": ID,
        "kind": _KIND,
        "weight": _WEIGHT,
        "by": TEXT,
        "side": _SIDE,
        "told": {**TEXT, "description": "Whom the workshop told and how; else empty."},
        "note": TEXT,
    },
    {
        "finding_id": _FINDING_ID,
        "kind": "mechanical",
        "weight": "before_sale",
        "by": "Ines Okafor-Lind",
        "side": "dealer",
        "told": "",
        "note": "We fetch it on a trailer.",
    },
)
_OVER: dict[str, JsonSchema] = {
    "headline": {**TEXT, "description": "In one line; the subject of the e-mail."},
    "finding_id": ID,
    "kind": _KIND,
    "weight": _WEIGHT,
    "area": {"enum": list(AREAS)},
    "area_name": TEXT,
    "noticed": TEXT,
    "by": {**TEXT, "description": "Who repaired it, transports it, or withdrew the finding."},
    "at": {**TIME, "description": "When; of a transport it may be to come."},
    "recorded_by": TEXT,
    "side": _SIDE,
}
_OVER_EXAMPLE = {
    "finding_id": _FINDING_ID,
    "kind": "mechanical",
    "weight": "do_not_drive",
    "area": "brakes",
    "area_name": AREAS["brakes"].name,
    "noticed": "The brake pedal sinks under a steady foot.",
    "at": "2027-03-01T13:30:00Z",
    "side": "workshop",
}
FINDING_CLEARED = kind(
    "finding.cleared",
    "A “do not drive” is over: the car was repaired, or will be transported. It goes to everybody "
    "who was told of the finding.",
    {
        **_OVER,
        "how": {
            "enum": [ending.value for ending in CLEARED],
            "description": "A car that will be transported must still not be driven.",
        },
        "next_step": {**TEXT, "description": "What still has to be kept to; else empty."},
    },
    {
        **_OVER_EXAMPLE,
        "headline": "Repaired (brakes): The brake pedal sinks under a steady foot.",
        "by": "Corm Mobile Mechanics",
        "recorded_by": "Tam Brackley",
        "how": "repaired",
        "next_step": "",
    },
)
FINDING_WITHDRAWN = kind(
    "finding.withdrawn",
    "The workshop withdrew a “do not drive” that was a mistake. It goes to everybody who was told "
    "of the finding.",
    {**_OVER, "reason": TEXT},
    {
        **_OVER_EXAMPLE,
        "headline": "“Do not drive” withdrawn (brakes): The brake pedal sinks under a steady foot.",
        "by": "Tam Brackley",
        "recorded_by": "Tam Brackley",
        "reason": "Tapped on the wrong car.",
    },
)
BELONGING_RETURNED = kind(
    "belonging.returned",
    "Something that was found in the car was handed back and signed for.",
    {"belonging_id": ID, "finding_id": ID},
    {"belonging_id": _BELONGING_ID, "finding_id": _FINDING_ID},
)
BELONGING_WIPED = kind(
    "belonging.wiped",
    "Personal data in the car was wiped, or left as it is.",
    {"belonging_id": ID, "finding_id": ID, "wiped": YES_OR_NO},
    {"belonging_id": _BELONGING_ID, "finding_id": _FINDING_ID, "wiped": True},
)
register(
    FINDING_REPORTED,
    FINDING_ACKNOWLEDGED,
    FINDING_CLEARED,
    FINDING_WITHDRAWN,
    BELONGING_RETURNED,
    BELONGING_WIPED,
)


def finding_data(finding: Finding, pictures: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return what an event tells of a finding; of belongings neither text nor pictures."""
    found, weight = FindingKind(finding.kind), Weight(finding.weight)
    withheld = found is FindingKind.BELONGINGS
    return {
        "headline": _headline(finding, withheld=withheld),
        "finding_id": finding.pk,
        "kind": finding.kind,
        "weight": finding.weight,
        "weight_words": WEIGHT_WORDS[weight],
        "area": finding.area,
        "area_name": AREAS[finding.area].name,
        "noticed": "" if withheld else finding.noticed,
        "circumstance": "" if withheld else finding.circumstance,
        "advice": "" if withheld else finding.advice,
        "caution": caution_for(found, weight),
        "next_step": ACKNOWLEDGE if weight is Weight.DO_NOT_DRIVE else "",
        "withheld": withheld,
        "from_paint_survey": finding.from_paint_survey,
        "pictures": [] if withheld else list(pictures),
    }


def finding_over_data(finding: Finding) -> dict[str, Any]:
    """Return what an event tells of a "do not drive" that is over."""
    how = Over(finding.over_how)
    words = {
        Over.REPAIRED: "Repaired",
        Over.TRANSPORTED: "Will be transported, must not be driven",
        Over.WITHDRAWN: "“Do not drive” withdrawn",
    }
    data = {
        "headline": f"{words[how]} ({AREAS[finding.area].name}): {finding.noticed}",
        "finding_id": finding.pk,
        "kind": finding.kind,
        "weight": finding.weight,
        "area": finding.area,
        "area_name": AREAS[finding.area].name,
        "noticed": finding.noticed,
        "by": finding.over_by,
        "at": finding.over_at,
        "recorded_by": finding.over_recorded_by,
        "side": finding.over_side,
    }
    if how is Over.WITHDRAWN:
        return {**data, "reason": finding.over_reason}
    next_step = STILL_NOT_DRIVEN if how is Over.TRANSPORTED else ""
    return {**data, "how": how.value, "next_step": next_step}


def _headline(finding: Finding, *, withheld: bool) -> str:
    """Return the finding in one line: whoever reads no further must know whether to drive."""
    if withheld:
        return "Belongings or personal data were found; sign in to see what."
    words = WEIGHT_WORDS[Weight(finding.weight)]
    return f"{words.capitalize()} ({AREAS[finding.area].name}): {finding.noticed}"
