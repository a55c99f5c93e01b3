"""One car on the tablet: where it is, what is asked, and everything that is done about it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from accounts.caller import Caller, Scope
from core.clock import now
from jobs.tablet import rows
from jobs.tablet.base import TabletPage
from jobs.tablet.curing import waits_of
from jobs.tablet.selectors.car import TabletCar, tablet_car
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.car.fuels import FUEL_CHOICES
from jobs.work.calc.car.views import VIEWS
from jobs.work.calc.minutes.soiling import LEVELS
from jobs.work.calc.stages.machine import Decision, Stage, refuse_closed, refuse_collection
from jobs.work.calc.walk_rounds import RED_LIGHTS, WARNING_LIGHTS
from jobs.work.models import Hold, Photo, SuppliedTick, WalkRound
from jobs.work.selectors.stages import step_to_undo
from jobs.work.words.curing import DATA_SHEET
from jobs.work.words.jobs.history import sentence, undo_words
from jobs.work.words.jobs.standing import stages_of, standing

MOMENTS = [
    (Photo.Moment.BEFORE.value, "Before the work"),
    (Photo.Moment.AFTER.value, "After the work"),
    (Photo.Moment.DETAIL.value, "A detail"),
]


class CarPage(TabletPage):
    """One car."""

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Show it."""
        at = now()
        car = tablet_car(caller, job_id, at)
        return self.page(
            request,
            caller,
            "jobs/tablet/car.html",
            job=car.job,
            car=car,
            at=at,
            state=standing(car.job),
            undo=_undo(car, caller),
            **_may(car),
            **_shown(car, caller, at),
            **_choices(car, at),
        )


def _undo(car: TabletCar, caller: Caller) -> str:
    """Return what a manager may undo now, in words; nothing for anybody else."""
    step = step_to_undo(car.job, car.facts.entries) if caller.may(Scope.OVERRIDE) else None
    return undo_words(step) if step else ""


def _may(car: TabletCar) -> dict[str, Any]:
    """Return what the page offers; of a car to come also what its arrival will open."""
    state = car.job.state
    can_work = refuse_closed(state) is None and state.decision is Decision.ACCEPTED
    leaves = state.cancelled or state.stage is Stage.READY
    can_note = not state.collected and (state.arrived or can_work)
    return {
        "can_work": can_work,
        "can_note": can_note,
        "leaves": leaves,
        "over": not can_note and state.decision is not Decision.AWAITED,
        "reason_needed": refuse_collection(
            state,
            reason="",
            belongings_here=car.car.things_here,
            not_to_be_driven=rows.danger_open(car),
        )
        is not None,
    }


def _shown(car: TabletCar, caller: Caller, at: datetime) -> dict[str, Any]:
    return {
        "stages": stages_of(car.job),
        "moves": rows.moves_of(car, may_override=caller.may(Scope.OVERRIDE)),
        "tasks": rows.tasks_of(car, caller),
        "waits": waits_of(car, at),
        "data_sheet": DATA_SHEET,
        "holds": rows.holds_of(car),
        "findings": [rows.finding_row(finding, caller) for finding in reversed(car.facts.findings)],
        "danger": car.job.do_not_drive,
        "changes": [(change, sentence(change)) for change in car.facts.changes],
        "photos": [(rows.photo_words(photo), paths) for photo, paths in car.facts.photos],
        "occasions": _occasions(car),
        "red_lights": rows.red_lights(car),
    }


def _choices(car: TabletCar, at: datetime) -> dict[str, Any]:
    return {
        "causes": Hold.Cause.choices,
        "moments": MOMENTS,
        "views": list(VIEWS.items()),
        "ticks": SuppliedTick.State.choices,
        "operations": rows.operation_names(car),
        "transport_times": rows.transport_times(at),
        "withdrawn_because": rows.WITHDRAWN_BECAUSE,
        "answer_times": rows.answer_times(at),
        "lights": list(WARNING_LIGHTS.items()),
        "red_codes": RED_LIGHTS,
        "fuels": FUEL_CHOICES,
        "soiling": LEVELS.get(car.job.soiling or 0),
        "levels": LEVELS.values(),
        "areas": [(area.code, area.name) for area in AREAS.values()],
    }


def _occasions(car: TabletCar) -> list[tuple[str, str, bool]]:
    """Return the walk-rounds to record, the one that is due first, and whether each was made."""
    made = [
        (WalkRound.Occasion.ARRIVAL.value, "on arrival", car.car.walked_in),
        (WalkRound.Occasion.LEAVING.value, "on leaving", car.car.walked_out),
    ]
    leaves = car.job.cancelled_at is not None or car.job.stage == Stage.READY
    return made[::-1] if leaves else made
