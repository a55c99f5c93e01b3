"""Today's cars in the order to work them, each with what to do next."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from django.contrib.messages import get_messages
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString

from accounts.caller import Caller
from accounts.pages.polls import PolledPage
from core.clock import now
from jobs.tablet.base import TabletPage
from jobs.tablet.lines import car_line
from jobs.tablet.selectors.board import MOST_CARS, BoardCar, board_of
from jobs.work.calc.stages.next_step import Group

HEADINGS = {
    Group.WORK: "To work on, in this order",
    Group.HERE: "Here, not begun",
    Group.WAITS: "Waiting: on hold or curing",
    Group.COMING: "To come",
    Group.READY: "Ready, to be collected",
}


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the list."""

    code: str
    heading: str
    lines: Sequence[SafeString]


def lines_of(cars: Iterable[BoardCar], at: datetime) -> list[SafeString]:
    """Return the lines of some cars."""
    return [car_line(car, at) for car in cars]


class Board(PolledPage, TabletPage):
    """The tablet's first page."""

    poll_name = "tablet"
    shows_messages = True

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the cars."""
        at = now()
        told = bool(get_messages(request))
        board = board_of(caller, at)
        cars = board.cars
        stops = [car for car in cars if car.job.do_not_drive]
        remaining_cars = [car for car in cars if not car.job.do_not_drive]
        parts = [Part("stopped", "Do not drive", lines_of(stops, at))] if stops else []
        parts += [
            Part(group.value, HEADINGS[group], lines_of(found, at))
            for group, found in groupby(remaining_cars, key=lambda car: car.group)
        ]
        response = self.page(
            request,
            caller,
            "jobs/tablet/board.html",
            here="board",
            parts=parts,
            most=MOST_CARS if board.more else 0,
        )
        if told:  # a message is shown once
            return response
        return self.tagged(response, request, caller, at, board.changes_at)
