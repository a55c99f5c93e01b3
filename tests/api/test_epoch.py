"""What a counter gave before a restore is known for it: cursors are refused, ETags do not fit."""

from datetime import UTC, datetime
from itertools import pairwise

import pytest
from pytest_django import DjangoAssertNumQueries

from accounts.auth import caller_for_person
from accounts.models import Organisation
from accounts.selectors import pages_version_of
from core.epoch import (
    EPOCH_BITS,
    MAX_CURSOR,
    cursor_at,
    cursor_parts,
    epoch_begin,
    epoch_number,
    position_in,
)
from core.models import Epoch
from core.problems import Restored
from tests.api.steps import done, moved, ready, refused
from tests.scene import Scene, person_api

BACKUP = datetime(2026, 11, 28, 22, 5, tzinfo=UTC)


def restore() -> Epoch:
    return epoch_begin(backup_made_at=BACKUP)


@pytest.mark.django_db
def test_each_restore_draws_another_epoch_in_one_row() -> None:
    assert epoch_number() == 0
    numbers = [0]
    for _ in range(5):
        epoch = restore()
        assert 0 < epoch.number < 2**EPOCH_BITS
        assert epoch.before == numbers[-1] != epoch.number
        numbers.append(epoch_number())
        assert numbers[-1] == epoch.number
    assert Epoch.objects.count() == 1


@pytest.mark.django_db
def test_it_is_never_the_one_before(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = iter([6, 6, 6, 8])
    monkeypatch.setattr("core.epoch.secrets.randbelow", lambda _: next(drawn))
    assert [restore().number for _ in range(2)] == [7, 9]


def test_a_cursor_is_a_number_that_every_reader_of_json_keeps() -> None:
    assert MAX_CURSOR == 2**53 - 1
    highest = cursor_at(2**36 - 1, epoch=2**EPOCH_BITS - 1)
    assert highest == MAX_CURSOR
    assert cursor_parts(highest) == (2**EPOCH_BITS - 1, 2**36 - 1)


def test_before_the_first_restore_a_cursor_is_the_position() -> None:
    assert cursor_at(1271, epoch=0) == 1271
    assert position_in(1271, epoch=0) == 1271


@pytest.mark.django_db
@pytest.mark.parametrize("epoch", [0, 5])
def test_the_start_is_the_start_in_every_epoch(epoch: int) -> None:
    assert position_in(0, epoch=epoch) == 0
    with pytest.raises(Restored):
        position_in(cursor_at(3, epoch=9), epoch=epoch)


@pytest.mark.parametrize("who", ["key", "person"])
def test_ready_refuses_a_cursor_from_before(scene: Scene, who: str) -> None:
    job = ready(scene)
    dealer = scene.dealer_api() if who == "key" else person_api(scene.staff)
    old = done(dealer.get("/ready"))["cursor"]
    assert done(dealer.get(f"/ready?after={old}"))["cars"] == []
    epoch = restore()
    problem = refused(dealer.get(f"/ready?after={old}"), 409, "restored")
    assert "2026-11-28 22:05 UTC" in problem["detail"]
    assert "without `after`" in problem["next_step"]
    assert problem["backup_made_at"] == "2026-11-28T22:05:00Z"
    assert datetime.fromisoformat(problem["restored_at"]) == epoch.restored_at
    fresh = done(dealer.get("/ready?after=0"))
    assert [car["id"] for car in fresh["cars"]] == [job["id"]]
    assert fresh["cursor"] != old
    assert done(dealer.get(f"/ready?after={fresh['cursor']}"))["cars"] == []
    restore()
    refused(dealer.get(f"/ready?after={fresh['cursor']}"), 409, "restored")


def test_ready_refuses_a_cursor_that_it_never_gave(scene: Scene) -> None:
    """A database brought back by a snapshot has the epoch that it had."""
    ready(scene)
    dealer = scene.dealer_api()
    ahead = done(dealer.get("/ready"))["cursor"] + 1
    problem = refused(dealer.get(f"/ready?after={ahead}"), 409, "restored")
    assert "ahead of all that there is" in problem["detail"]


def test_an_etag_from_before_gets_the_whole_answer(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    ready(scene)
    dealer = scene.dealer_api()
    for path in ("/ready", "/ready?after=0"):
        old = dealer.get(path).headers["ETag"]
        assert dealer.get(path, **{"If-None-Match": old}).status_code == 304
        restore()
        answer = dealer.get(path, **{"If-None-Match": old})
        assert len(done(answer)["cars"]) == 1
        with django_assert_num_queries(1):
            again = dealer.get(path, **{"If-None-Match": answer.headers["ETag"]})
        assert again.status_code == 304


def test_the_same_counter_twice_is_not_the_same_list(scene: Scene) -> None:
    """What the epoch is for: after the restore the counter comes to where the dealer saw it."""
    job, dealer = ready(scene), scene.dealer_api()
    version = "ready_version"
    job = moved(scene.workshop_api(), job, "cleaning")
    lost = dealer.get("/ready")
    assert done(lost)["cars"] == []
    seen = Organisation.objects.values_list(version, flat=True).get(pk=scene.dealer.pk)
    Organisation.objects.filter(pk=scene.dealer.pk).update(ready_version=seen - 1)
    restore()
    moved(scene.workshop_api(), job, "ready")
    assert Organisation.objects.values_list(version, flat=True).get(pk=scene.dealer.pk) == seen
    answer = dealer.get("/ready", **{"If-None-Match": lost.headers["ETag"]})
    assert len(done(answer)["cars"]) == 1


def test_pages_are_shown_once_more(scene: Scene) -> None:
    """Their tags hold a count, which comes again in the next life; so each begins far on."""
    ready(scene)
    desk, board = caller_for_person(scene.owner), caller_for_person(scene.staff)
    seen = [(pages_version_of(desk), pages_version_of(board))]
    for _ in range(2):
        restore()
        seen.append((pages_version_of(desk), pages_version_of(board)))
    for before, after in pairwise(seen):
        assert all(now - then > 1000 for then, now in zip(before, after, strict=True))
