"""The paint of a car as an answer: the selector's record in plain values."""

from dataclasses import asdict
from typing import Any

from accounts.caller import Caller
from jobs.work.answers.paint.outputs import (
    AllowanceOutput,
    BaselineOutput,
    ComparisonOutput,
    DoneOutput,
    FilmCheckOutput,
    GroupsOutput,
    LeftOutput,
    OfferedFindingOutput,
    PaintOutput,
    PaintTestOutput,
    PanelOutput,
    PassesOutput,
    SpotReadingOutput,
    SuppliesOutput,
    TwinsOutput,
    short,
)
from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.catalogue.cautions import MACHINE
from jobs.work.calc.paint.comparison import Comparison
from jobs.work.calc.paint.correction import Allowance, Left
from jobs.work.calc.paint.film import WHOLE_CAR
from jobs.work.calc.paint.pads import DEFAULT_SIZE
from jobs.work.calc.paint.statistics import Baseline, Groups
from jobs.work.calc.paint.survey import THICK, FilmClass, PanelResult, sentence_of
from jobs.work.calc.paint.system import FADE_WORDS
from jobs.work.selectors.paint import PaintRecord

SUPPLIES_NOTE = (
    "For one machine polish of the whole vehicle: invented but plausible areas, pads and compound "
    "from common practice, no source."
)
BUILT_UP = "Nobody knows the layers of a thick panel: its allowance is no larger for it."


def paint(record: PaintRecord, caller: Caller) -> PaintOutput:
    """Return the whole survey."""
    survey = record.survey
    shown = [_panel(record, panel) for panel in survey.panels]
    shown += [_unmeasured(record, code) for code in record.other_panels]
    return PaintOutput(
        can_tell=survey.can_tell,
        cautions=[*survey.cautions, MACHINE],
        sentence=sentence_of(survey),
        comparisons=[_comparison(comparison) for comparison in survey.comparisons],
        baselines=[
            _baseline(baseline, comparison)
            for comparison in survey.comparisons
            for baseline in comparison.baselines
        ],
        **film(record, WHOLE_CAR),
        panels=shown,
        twins=[
            TwinsOutput(
                left=twin.left,
                right=twin.right,
                difference_microns=short(twin.difference_microns),
                alike=twin.alike,
            )
            for twin in survey.twins
        ],
        system=record.system.value,
        system_words=record.system.words,
        why_unsure=record.why_unsure,
        supplies=_supplies(record),
        offered_findings=[OfferedFindingOutput(**asdict(offer)) for offer in record.offers(caller)],
        readings=SpotReadingOutput.rows(record.readings),
        tests=PaintTestOutput.rows(record.tests),
        passes=PassesOutput.rows(record.passes),
        film_checks=FilmCheckOutput.rows(record.film_checks),
    )


def verdict(record: PaintRecord, panel: str) -> dict[str, Any]:
    """Return what the tests say of a panel: the fields of VerdictOutput."""
    system, fade = record.system_of(panel), record.fade_of(panel)
    return {
        "system": system.value,
        "system_words": system.words,
        "why_unsure": record.why_unsure_of(panel),
        "fade": fade.value,
        "fade_words": FADE_WORDS[fade],
    }


def film(record: PaintRecord, area: str) -> dict[str, Any]:
    """Return what is known of a film on a panel, or on the whole vehicle: two fields of it."""
    answer = record.film_on(area)
    return {"film": answer.value, "film_words": answer.words}


def allowance(allowed: Allowance | None) -> AllowanceOutput | None:
    """Return what a panel can still stand."""
    if allowed is None:
        return None
    return AllowanceOutput(
        conservative=_left(allowed.conservative),
        hopeful=_left(allowed.hopeful),
        assumption=allowed.assumption,
    )


def _left(left: Left) -> LeftOutput:
    return LeftOutput(
        microns=short(left.microns),
        cut_passes=left.cut_passes,
        finish_passes=left.finish_passes,
    )


def _comparison(comparison: Comparison) -> ComparisonOutput:
    return ComparisonOutput(
        material=comparison.metal,
        panels=len(comparison.values),
        unclassed_because=comparison.doubt.value,
        usual_microns=short(comparison.baseline.median_microns) if comparison.baseline else None,
        groups=_groups(comparison.groups) if comparison.groups else None,
        caveats=list(comparison.caveats),
    )


def _groups(groups: Groups) -> GroupsOutput:
    return GroupsOutput(
        thinner=list(groups.thinner),
        thicker=list(groups.thicker),
        thinner_microns=short(groups.thinner_microns),
        thicker_microns=short(groups.thicker_microns),
    )


def _baseline(baseline: Baseline, comparison: Comparison) -> BaselineOutput:
    return BaselineOutput(
        material=comparison.metal,
        counts=baseline is comparison.baseline,
        panels=list(baseline.panels),
        median_microns=short(baseline.median_microns),
        mad_microns=short(baseline.mad_microns),
        spread_microns=short(baseline.spread_microns),
    )


def _panel(record: PaintRecord, result: PanelResult) -> PanelOutput:
    reasons = list(result.reasons)
    if result.film_class in THICK:
        reasons.append(BUILT_UP)
    return PanelOutput(
        material=result.material.value,
        film_class=result.film_class.value,
        film_class_words=result.film_class.words,
        spots=result.spots,
        microns=short(result.microns),
        lowest_microns=short(result.lowest_microns),
        highest_microns=short(result.highest_microns),
        difference_microns=short(result.difference_microns),
        modified_z=short(result.modified_z, 4),
        z_counted=short(result.z_counted, 4),
        reasons=reasons,
        caveats=list(result.caveats),
        **_common(record, result.panel),
    )


def _unmeasured(record: PaintRecord, code: str) -> PanelOutput:
    """Return a panel that was tested or machined without a reading."""
    return PanelOutput(
        material=None,
        film_class=FilmClass.NOT_MEASURED.value,
        film_class_words=FilmClass.NOT_MEASURED.words,
        spots=0,
        microns=None,
        lowest_microns=None,
        highest_microns=None,
        difference_microns=None,
        modified_z=None,
        z_counted=None,
        reasons=["No reading: nothing is known about the film."],
        caveats=[],
        **_common(record, code),
    )


def _common(record: PaintRecord, code: str) -> dict[str, Any]:
    """Return what is told of a panel whether it was measured or not."""
    done = record.done_on(code)
    return {
        "panel": code,
        "name": PANELS[code].name,
        **verdict(record, code),
        **film(record, code),
        "allowance": allowance(record.allowance_of(code)),
        "no_allowance_because": record.no_allowance_because(code),
        "passes_done": DoneOutput(cut=done.cut, finish=done.finish),
        "square_metres": short(record.areas.get(code), 2),
    }


def _supplies(record: PaintRecord) -> SuppliesOutput:
    supplies = record.supplies
    return SuppliesOutput(
        body_size=record.job.body_size or DEFAULT_SIZE,
        square_metres=short(supplies.square_metres),
        pads=supplies.pads,
        compound_millilitres=round(supplies.compound_millilitres),
        note=SUPPLIES_NOTE,
    )
