"""How a run's places are shared."""

from collections import deque
from uuid import UUID, uuid4

from notifications.engine.places import Queue, Room, share


def queue(
    name: str, count: int, *, taken: int = 0, most: int = 8, frail: bool = False
) -> Queue[str]:
    due = deque(f"{name}{number}" for number in range(count))
    return Queue(_id(), taken=taken, most=most, frail=frail, due=due)


def _id() -> UUID:
    return uuid4()


def room(places: int = 64, *, in_flight: int = 0, frail_in_flight: int = 0) -> Room:
    return Room.of(places=places, in_flight=in_flight, frail_in_flight=frail_in_flight)


def test_places_go_round_so_a_long_queue_takes_no_turn_of_a_short_one() -> None:
    chosen = share([queue("a", 100), queue("b", 2), queue("c", 1)], room())
    assert chosen[:5] == ["a0", "b0", "c0", "a1", "b1"]


def test_an_endpoint_gets_no_more_than_its_places_counting_those_taken() -> None:
    assert len(share([queue("a", 100, taken=5, most=8)], room())) == 3
    assert share([queue("a", 100, taken=8, most=8)], room()) == []
    assert share([queue("a", 100, taken=9, most=8)], room()) == []


def test_a_run_never_has_more_in_flight_than_its_places() -> None:
    queues = [queue(name, 5) for name in "abcdefgh"]
    assert len(share(queues, room(10, in_flight=4))) == 6
    assert share([queue("a", 5)], room(10, in_flight=10)) == []


def test_a_quarter_of_the_places_is_kept_for_endpoints_with_nothing_in_flight() -> None:
    busy = [queue("a", 50), queue("b", 50)]
    free = room(8)
    assert len(share(busy, free)) == 6
    assert share([queue("idle", 5)], free) == ["idle0"]


def test_endpoints_that_fail_have_half_of_the_places_between_them() -> None:
    frail = [queue(f"f{number}", 5, most=1, frail=True) for number in range(20)]
    free = room(8)
    assert len(share(frail, free)) == 4
    assert len(share([queue("a", 50)], free)) == 2  # and two stay kept
    assert share(frail, room(8, in_flight=4, frail_in_flight=4)) == []


def test_a_run_with_one_place_uses_it_for_any_endpoint() -> None:
    assert share([queue("a", 3)], room(1)) == ["a0"]
    assert share([queue("a", 3, most=1, frail=True)], room(1)) == ["a0"]
