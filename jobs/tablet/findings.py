"""A finding in three taps: where on the car, which phrase, a picture; then it is sent."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from accounts.caller import Caller
from core.clock import now
from jobs.tablet.base import TabletPage
from jobs.tablet.selectors.car import car_for_tablet
from jobs.work.calc.car.areas import AREAS, Area
from jobs.work.calc.findings import WEIGHT_WORDS, FindingKind, Weight
from jobs.work.drawings.car_picker import CELLS, kinds_first, not_drawn
from jobs.work.models import Belonging
from jobs.work.selectors.findings.phrases import phrases_of

KIND_WORDS = {
    FindingKind.MECHANICAL: "Mechanical",
    FindingKind.BODY_AND_PAINT: "Body and paint",
    FindingKind.GLASS_AND_LIGHTS: "Glass and lights",
    FindingKind.WHEELS_AND_TYRES: "Wheels and tyres",
    FindingKind.INTERIOR: "Interior",
    FindingKind.ELECTRICAL: "Electrical",
    FindingKind.MISSING_OR_EXTRA: "Missing, or more than there should be",
    FindingKind.PROVENANCE: "Signs of the car's past",
    FindingKind.BELONGINGS: "Belongings and personal data",
}


@dataclass(frozen=True, slots=True)
class Place:
    """One area to tap: on the drawing by its cell, or by its name; with the kinds that fit it."""

    area: Area
    kinds: str
    cell: object = None


class FindingPage(TabletPage):
    """A finding to report."""

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Show the drawing, the workshop's phrases, and the camera."""
        return self.page(
            request,
            caller,
            "jobs/tablet/finding.html",
            job=car_for_tablet(caller, job_id, now()),
            drawn=[_place(cell.area, cell) for cell in CELLS],
            groups=_groups(),
            phrases=phrases_of(caller.organisation_id),
            stop=Weight.DO_NOT_DRIVE.value,
            kinds=[(kind.value, words) for kind, words in KIND_WORDS.items()],
            weights=[(weight.value, words) for weight, words in WEIGHT_WORDS.items()],
            things=[(what, Belonging.What(what).label) for what in Belonging.What.values],
            kept=sorted(Belonging.THINGS),
        )


def _place(code: str, cell: object = None) -> Place:
    return Place(AREAS[code], " ".join(kind.value for kind in kinds_first(code)), cell)


def _groups() -> Sequence[tuple[str, Sequence[Place]]]:
    """Return what the drawing has no place for, by group in words."""
    return [
        (group.value, [_place(area.code) for area in areas]) for group, areas in not_drawn().items()
    ]
