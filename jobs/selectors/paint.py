"""The paint of a car as a caller may see it: what was measured, tried and done, put together."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from uuid import UUID

from core.api.caller import Caller, Side
from jobs.calc.areas import PANELS
from jobs.calc.correction import Allowance, Work, allowance_of
from jobs.calc.pads import Supplies, areas_of, supplies_for
from jobs.calc.paint import Material, Spot, Survey, survey_of
from jobs.calc.paint_offers import Offer, offers_of
from jobs.calc.paint_system import (
    Fade,
    PadColour,
    PadTest,
    PaintSystem,
    fade_of_panel,
    system_of,
    system_of_panel,
)
from jobs.models import Finding, Job, PaintTest, PassesDone, SpotReading
from jobs.selectors.jobs import jobs_of, no_such_job


@dataclass(frozen=True)
class PaintRecord:
    """All that is known of a job's paint; `reported` are the panels a finding was sent for."""

    job: Job
    readings: tuple[SpotReading, ...]
    tests: tuple[PaintTest, ...]
    passes: tuple[PassesDone, ...]
    reported: frozenset[str] = frozenset()

    @cached_property
    def counted(self) -> tuple[SpotReading, ...]:
        """Return the readings that were not set aside."""
        return tuple(one for one in self.readings if one.set_aside_at is None)

    @cached_property
    def passes_counted(self) -> tuple[PassesDone, ...]:
        """Return the passes that were not set aside."""
        return tuple(one for one in self.passes if one.set_aside_at is None)

    @cached_property
    def survey(self) -> Survey:
        """Return what the readings say."""
        return survey_of(
            [Spot(one.panel, Material(one.material), tuple(one.readings)) for one in self.counted]
        )

    @cached_property
    def pad_tests(self) -> tuple[PadTest, ...]:
        """Return the tests that were not set aside, as the sums take them."""
        return tuple(
            PadTest(one.panel, PadColour(one.pad_colour), one.faded, one.darkens_when_wet)
            for one in self.tests
            if one.set_aside_at is None
        )

    @property
    def system(self) -> PaintSystem:
        """Return the paint system of the car, by all its tests."""
        return system_of(self.pad_tests)

    def system_of(self, panel: str) -> PaintSystem:
        """Return the paint system of a panel."""
        return system_of_panel(self.pad_tests, panel)

    def fade_of(self, panel: str) -> Fade:
        """Return what can be done about the fade on a panel."""
        return fade_of_panel(self.pad_tests, panel)

    def done_on(self, panel: str, *, since: SpotReading | None = None) -> Work:
        """Return the passes over a panel, or those that followed a reading."""
        work = dict.fromkeys(PassesDone.Kind.values, 0)
        for one in self.passes_counted:
            if one.panel == panel and (since is None or _when(one) > _when(since)):
                work[one.kind] += one.passes
        return Work(cut=work[PassesDone.Kind.CUT], finish=work[PassesDone.Kind.FINISH])

    def allowance_of(self, panel: str) -> Allowance | None:
        """Return what a panel can still stand, or None where no reading tells."""
        spots = [
            (one.microns, self.done_on(panel, since=one))
            for one in self.counted
            if one.panel == panel and one.microns is not None
        ]
        if not spots:
            return None
        return allowance_of(spots, done=self.done_on(panel), system=self.system_of(panel))

    @property
    def areas(self) -> Mapping[str, float]:
        """Return square metres by panel for a vehicle of this size."""
        return areas_of(self.job.body_size)

    @property
    def supplies(self) -> Supplies:
        """Return the pads and compound that all of this vehicle takes."""
        return supplies_for(sum(self.areas.values()), self.system)

    def offers(self, caller: Caller) -> tuple[Offer, ...]:
        """Return the findings on offer: for the workshop alone, and for what it has not sent."""
        if caller.side is Side.DEALER:
            return ()
        return tuple(one for one in offers_of(self.survey) if one.area not in self.reported)

    @property
    def other_panels(self) -> tuple[str, ...]:
        """Return the panels that were tested or machined but never measured."""
        measured = {one.panel for one in self.counted}
        noted = {one.panel for one in self.pad_tests}
        noted |= {one.panel for one in self.passes_counted}
        return tuple(code for code in PANELS if code in noted - measured)


def paint_of(caller: Caller, job_id: UUID) -> PaintRecord:
    """Return the paint of one of the caller's jobs. Raises NotFound."""
    job = jobs_of(caller).filter(pk=job_id).first()
    if job is None:
        raise no_such_job()
    return paint_of_job(job)


def paint_of_job(job: Job) -> PaintRecord:
    """Return the paint of a job that the caller was allowed to see: four queries."""
    reported = Finding.objects.filter(job=job, from_paint_survey=True)
    return PaintRecord(
        job=job,
        readings=tuple(SpotReading.objects.filter(job=job).order_by("pk")),
        tests=tuple(PaintTest.objects.filter(job=job).order_by("pk")),
        passes=tuple(PassesDone.objects.filter(job=job).order_by("pk")),
        reported=frozenset(reported.values_list("area", flat=True)),
    )


def _when(one: SpotReading | PassesDone) -> tuple[object, ...]:
    """Return when it was done, to compare by; of one time the order of telling counts."""
    return (one.occurred_at, one.recorded_at)
