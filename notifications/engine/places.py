"""Who gets a place: shares a run's free places among the endpoints that have something due."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Generic, TypeVar
from uuid import UUID

Item = TypeVar("Item")

# A quarter of a run's places goes only to endpoints with nothing in flight, so that receivers
# that answer slowly cannot take them all, however much is due to them.
KEPT_PART = 4
# Endpoints that fail, or asked us to slow down, have half of a run's places between them, so
# that the others have room however many are dead.
FRAIL_PART = 2


@dataclass(slots=True)
class Queue(Generic[Item]):
    """What is due to one endpoint, the next one first, and its places: taken, and at most."""

    endpoint_id: UUID
    taken: int
    most: int
    frail: bool
    due: deque[Item] = field(default_factory=deque)


@dataclass(slots=True)
class Room:
    """The places of one run that are free: in all, for frail endpoints, kept for idle ones."""

    free: int
    frail: int
    kept: int

    @classmethod
    def of(cls, *, places: int, in_flight: int, frail_in_flight: int) -> "Room":
        """Return what is free of a run's places."""
        return cls(
            free=places - in_flight,
            frail=max(places // FRAIL_PART, 1) - frail_in_flight,
            kept=places // KEPT_PART,
        )

    def admits(self, queue: Queue[Item]) -> bool:
        """Return whether the endpoint may take one place more."""
        if queue.taken >= queue.most or self.free <= 0:
            return False
        if queue.frail and self.frail <= 0:
            return False
        return queue.taken == 0 or self.free > self.kept

    def take(self, queue: Queue[Item]) -> None:
        """Count one place more as taken by the endpoint."""
        queue.taken += 1
        self.free -= 1
        self.frail -= queue.frail


def share(queues: Iterable[Queue[Item]], room: Room) -> list[Item]:
    """Return what may go now: one from each queue in turn, as long as there is room."""
    chosen: list[Item] = []
    turn = deque(queues)
    while turn:
        queue = turn.popleft()
        if queue.due and room.admits(queue):
            room.take(queue)
            chosen.append(queue.due.popleft())
            turn.append(queue)
    return chosen
