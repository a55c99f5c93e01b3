"""The paint of a car as a caller may see it: what was measured, tried and done, put together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from uuid import UUID

from django.db.models import OuterRef, Subquery

from accounts.caller import Caller, Side
from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.correction import Allowance, Work, allowance_of
from jobs.work.calc.paint.film import CHECK_FIRST, WHOLE_CAR, FilmAnswer, film_on
from jobs.work.calc.paint.offers import Offer, offers_of
from jobs.work.calc.paint.pads import Supplies, areas_of, supplies_for
from jobs.work.calc.paint.survey import FilmClass, Material, PanelResult, Spot, Survey, survey_of
from jobs.work.calc.paint.system import (
    Fade,
    Look,
    PadColour,
    PadTest,
    PaintSystem,
    RubbedWith,
    fade_of_panel,
    is_white,
    system_of,
    system_of_panel,
    tests_for,
    why_unsure,
)
from jobs.work.models import FilmCheck, Finding, Job, PaintTest, PassesDone, SpotReading
from jobs.work.selectors.jobs.jobs import jobs_of, no_such_job


@dataclass(frozen=True)
class PaintRecord:
    """All that is known of a job's paint; `reported` are the panels a finding was sent for."""

    job: Job
    readings: tuple[SpotReading, ...]
    tests: tuple[PaintTest, ...]
    passes: tuple[PassesDone, ...]
    reported: frozenset[str] = frozenset()
    film_checks: tuple[FilmCheck, ...] = ()

    @cached_property
    def counted(self) -> tuple[SpotReading, ...]:
        """Return the readings that were not set aside."""
        return tuple(reading for reading in self.readings if reading.set_aside_at is None)

    @cached_property
    def passes_counted(self) -> tuple[PassesDone, ...]:
        """Return the passes that were not set aside."""
        return tuple(pass_ for pass_ in self.passes if pass_.set_aside_at is None)

    @cached_property
    def films(self) -> Mapping[str, FilmAnswer]:
        """Return what is known of films, by panel or for the whole car: the latest answers."""
        in_order = sorted(self.film_checks, key=_when)
        return {check.panel: FilmAnswer(check.film) for check in in_order}

    def film_on(self, panel: str) -> FilmAnswer:
        """Return what is known of a film on a panel, or on all of the car."""
        return film_on(self.films, panel)

    @cached_property
    def survey(self) -> Survey:
        """Return what the readings say."""
        spots = [_spot(reading) for reading in self.counted]
        return survey_of(spots, self.films)

    @cached_property
    def results(self) -> Mapping[str, PanelResult]:
        """Return what the survey says by panel."""
        return {result.panel: result for result in self.survey.panels}

    @cached_property
    def pad_tests(self) -> tuple[PadTest, ...]:
        """Return the tests that were not set aside, as the sums take them, in their order."""
        white = is_white(self.job.colour)
        counted = sorted((test for test in self.tests if test.set_aside_at is None), key=_when)
        return tuple(_pad_test(test, white=white) for test in counted)

    @property
    def system(self) -> PaintSystem:
        """Return the paint system of the car, by all its tests."""
        return system_of(self.pad_tests)

    @property
    def why_unsure(self) -> str:
        """Return why the car's paint system is not sure, and what to do; empty where it is."""
        return why_unsure(self.pad_tests)

    def system_of(self, panel: str) -> PaintSystem:
        """Return the paint system of a panel."""
        return system_of_panel(self.pad_tests, panel)

    def why_unsure_of(self, panel: str) -> str:
        """Return why a panel's paint system is not sure, and what to do; empty where it is."""
        return why_unsure(tests_for(self.pad_tests, panel))

    def fade_of(self, panel: str) -> Fade:
        """Return what can be done about the fade on a panel."""
        return fade_of_panel(self.pad_tests, panel)

    def done_on(self, panel: str, *, since: SpotReading | None = None) -> Work:
        """Return the passes over a panel, or those that followed a reading."""
        work = dict.fromkeys(PassesDone.Kind.values, 0)
        for done in self.passes_counted:
            if done.panel == panel and (since is None or _when(done) > _when(since)):
                work[done.kind] += done.passes
        return Work(cut=work[PassesDone.Kind.CUT], finish=work[PassesDone.Kind.FINISH])

    def allowance_of(self, panel: str) -> Allowance | None:
        """Return what a panel can still stand, or None where no reading of paint tells."""
        if self.no_allowance_because(panel):
            return None
        spots = [
            (reading.microns, self.done_on(panel, since=reading))
            for reading in self.counted
            if reading.panel == panel and reading.microns is not None
        ]
        return allowance_of(
            spots,
            done=self.done_on(panel),
            system=self.system_of(panel),
            thin=self.results[panel].film_class is FilmClass.THIN,
        )

    def no_allowance_because(self, panel: str) -> str:
        """Return why nothing is known of what a panel can stand; empty where something is."""
        name, result = PANELS[panel].name, self.results.get(panel)
        if self.film_on(panel) is FilmAnswer.YES:
            return f"A film or wrap lies on the {name}: polish for paint would ruin it."
        if result is None or result.microns is None:
            return f"There is no reading of the {name}: nothing is known about its film."
        if result.wants_film_check:
            return f"The {name} reads {result.microns:.0f} microns. {CHECK_FIRST}"
        return ""

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
        return tuple(offer for offer in offers_of(self.survey) if offer.area not in self.reported)

    @property
    def other_panels(self) -> tuple[str, ...]:
        """Return the panels that were tested or machined but never measured."""
        measured = {reading.panel for reading in self.counted}
        noted = {test.panel for test in self.pad_tests}
        noted |= {done.panel for done in self.passes_counted}
        return tuple(code for code in PANELS if code in noted - measured)


def paint_of(caller: Caller, job_id: UUID) -> PaintRecord:
    """Return the paint of one of the caller's jobs. Raises NotFound."""
    job = jobs_of(caller).filter(pk=job_id).first()
    if job is None:
        raise no_such_job()
    return paint_of_job(job)


def paint_of_job(job: Job) -> PaintRecord:
    """Return the paint of a job that the caller was allowed to see: five queries."""
    reported = Finding.objects.filter(job=job, from_paint_survey=True)
    return PaintRecord(
        job=job,
        readings=tuple(SpotReading.objects.filter(job=job).order_by("pk")),
        tests=tuple(PaintTest.objects.filter(job=job).order_by("pk")),
        passes=tuple(PassesDone.objects.filter(job=job).order_by("pk")),
        reported=frozenset(reported.values_list("area", flat=True)),
        film_checks=tuple(FilmCheck.objects.filter(job=job).order_by("pk")),
    )


def readings_with_films(job: Job) -> list[SpotReading]:
    """Return the readings that count, each with what is known of a film there: one query."""
    checks = FilmCheck.objects.filter(job=job).order_by("-occurred_at", "-recorded_at", "-pk")
    counted = SpotReading.objects.filter(job=job, set_aside_at=None)
    return list(
        counted.annotate(
            film_of_panel=Subquery(checks.filter(panel=OuterRef("panel")).values("film")[:1]),
            film_of_car=Subquery(checks.filter(panel=WHOLE_CAR).values("film")[:1]),
        ).order_by("pk")
    )


def survey_of_readings(readings: Sequence[SpotReading]) -> Survey:
    """Return what readings say that came from `readings_with_films`."""
    films = {
        area: FilmAnswer(answer)
        for reading in readings
        for area, answer in (
            (reading.panel, getattr(reading, "film_of_panel", None)),
            (WHOLE_CAR, getattr(reading, "film_of_car", None)),
        )
        if answer
    }
    return survey_of([_spot(reading) for reading in readings], films)


def _spot(reading: SpotReading) -> Spot:
    return Spot(reading.panel, Material(reading.material), tuple(reading.readings))


def _pad_test(test: PaintTest, *, white: bool | None) -> PadTest:
    """Return a test as the sums take it; `white`: what the order says of the car's colour."""
    return PadTest(
        panel=test.panel,
        pad_colour=PadColour(test.pad_colour),
        look=Look(test.look or (Look.FADED if test.faded else Look.NOT_SAID)),
        darkens_when_wet=test.darkens_when_wet,
        white_paint=white if test.white_paint is None else test.white_paint,
        rubbed_with=RubbedWith(test.rubbed_with),
    )


def _when(note: SpotReading | PassesDone | FilmCheck | PaintTest) -> tuple[object, ...]:
    """Return when it was done, to compare by; of one time the order of telling counts."""
    return (note.occurred_at, note.recorded_at, note.pk)
