"""The PIN: what it may be, how many tries it stands, and that many at once get no more."""

import logging
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from threading import Barrier
from typing import Any

import pytest
import time_machine
from django.contrib.auth.hashers import identify_hasher
from django.db import connection
from django.test import override_settings
from structlog.testing import capture_logs

from accounts.models import Person
from accounts.services import (
    person_add,
    pin_check,
    pin_failures_forget,
    pin_set,
    pin_void,
    pins,
)
from core.problems import InvalidRequest, NotSignedIn, Problem, TooManyRequests
from tests.figures import without_ids
from tests.patience import PATIENCE_SECONDS
from tests.scene import Scene, make_scene

PIN, WRONG = "2580", "2581"
NOON = datetime(2027, 3, 1, 12, tzinfo=UTC)


@pytest.fixture
def scene(scene: Scene) -> Scene:
    """Return the scene, in which the valeter has a PIN."""
    pin_set(person=scene.valeter, pin=PIN)
    return scene


def tried(person: Person, pin: str = WRONG) -> Any:
    """Try a PIN at the person's workshop; return them, or the problem that was raised."""
    assert person.organisation_id is not None
    try:
        return pin_check(workshop_id=person.organisation_id, person_id=person.pk, pin=pin)
    except Problem as problem:
        return problem


def words(problem: Any) -> tuple[Any, ...]:
    """Return all that somebody is told."""
    return type(problem), problem.detail, problem.next_step, problem.headers


@pytest.mark.parametrize("pin", ["2580", "1357", "0408", "11223344", "12345679", "90210"])
def test_four_to_eight_digits_will_do(scene: Scene, pin: str) -> None:
    pin_set(person=scene.valeter, pin=pin)
    assert tried(scene.valeter, pin) == scene.valeter


@pytest.mark.parametrize(
    ("pin", "said"),
    [
        ("", "4 to 8 digits"),
        ("258", "4 to 8 digits"),
        ("258025802", "4 to 8 digits"),
        ("25 80", "4 to 8 digits"),
        ("25a0", "4 to 8 digits"),
        ("٢٥٨٠", "4 to 8 digits"),
        ("0000", "same digit"),
        ("77777777", "same digit"),
        ("1234", "in a row"),
        ("4321", "in a row"),
        ("0123", "in a row"),
        ("7890", "in a row"),
        ("9876543", "in a row"),
    ],
)
def test_an_easy_pin_is_refused_with_the_reason(scene: Scene, pin: str, said: str) -> None:
    with pytest.raises(InvalidRequest, match="pin:") as refused:
        pin_set(person=scene.valeter, pin=pin)
    assert said in refused.value.errors[0]["message"]
    assert tried(scene.valeter, PIN) == scene.valeter


def test_a_dealers_staff_have_no_pin(scene: Scene) -> None:
    with pytest.raises(InvalidRequest, match="Only people of a workshop"):
        pin_set(person=scene.staff, pin=PIN)
    assert isinstance(tried(scene.staff, PIN), NotSignedIn)


@override_settings(
    PASSWORD_HASHERS=["django.contrib.auth.hashers.Argon2PasswordHasher"],
)
def test_only_a_slow_hash_of_the_pin_is_kept(scene: Scene) -> None:
    pin_set(person=scene.valeter, pin=PIN)
    kept = Person.objects.get(pk=scene.valeter.pk).pin
    assert identify_hasher(kept).algorithm == "argon2"
    assert PIN not in kept.split("$")


def test_four_wrong_pins_are_forgiven_by_the_right_one(scene: Scene) -> None:
    for _ in range(3):
        assert [type(tried(scene.valeter)) for _ in range(4)] == [NotSignedIn] * 4
        assert tried(scene.valeter, PIN) == scene.valeter


def test_the_fifth_wrong_pin_in_a_row_blocks_for_a_quarter_of_an_hour(scene: Scene) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        answers = [type(tried(scene.valeter)) for _ in range(5)]
        assert answers == [NotSignedIn] * 4 + [TooManyRequests]
        assert isinstance(tried(scene.valeter, PIN), TooManyRequests)
        clock.move_to(NOON + timedelta(minutes=14, seconds=59))
        assert isinstance(tried(scene.valeter, PIN), TooManyRequests)
        clock.move_to(NOON + timedelta(minutes=15))
        assert tried(scene.valeter, PIN) == scene.valeter


def test_tries_while_it_is_blocked_are_not_counted(scene: Scene) -> None:
    for _ in range(50):
        tried(scene.valeter)
    assert Person.objects.get(pk=scene.valeter.pk).pin_failures == 5


def test_each_further_five_block_again_and_twenty_end_the_pin(scene: Scene) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        for _ in range(4):
            answers = [type(tried(scene.valeter)) for _ in range(5)]
            assert answers == [NotSignedIn] * 4 + [TooManyRequests]
            clock.shift(timedelta(minutes=15))
        assert isinstance(tried(scene.valeter, PIN), NotSignedIn)
        clock.shift(timedelta(days=30))
        assert isinstance(tried(scene.valeter, PIN), NotSignedIn)
        assert Person.objects.get(pk=scene.valeter.pk).pin_failures == 20
        pin_set(person=scene.valeter, pin="1470")
        assert tried(scene.valeter, "1470") == scene.valeter


def test_a_password_wipes_the_count_but_brings_no_void_pin_back(scene: Scene) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        for _ in range(5):
            tried(scene.valeter)
        pin_failures_forget(person=scene.valeter)
        assert tried(scene.valeter, PIN) == scene.valeter
        for _ in range(4):
            for _ in range(5):
                tried(scene.valeter)
            clock.shift(timedelta(minutes=15))
        pin_failures_forget(person=scene.valeter)
        assert isinstance(tried(scene.valeter, PIN), NotSignedIn)


def test_nobody_learns_whether_somebody_has_a_pin(scene: Scene) -> None:
    with time_machine.travel(NOON, tick=False):
        for _ in range(7):
            assert words(tried(scene.valeter)) == words(tried(scene.manager))


def test_a_pin_that_was_taken_away_is_worth_nothing(scene: Scene) -> None:
    pin_void(person=scene.valeter)
    assert isinstance(tried(scene.valeter, PIN), NotSignedIn)
    assert isinstance(tried(scene.valeter, ""), NotSignedIn)


def test_neither_one_who_left_nor_a_stranger_gets_in(scene: Scene) -> None:
    stranger, _ = person_add(
        organisation=scene.stranger_workshop, email="s@x.example", name="Str Anger", role="valeter"
    )
    pin_set(person=stranger, pin=PIN)
    with pytest.raises(NotSignedIn):
        pin_check(workshop_id=scene.workshop.pk, person_id=stranger.pk, pin=PIN)
    assert tried(stranger, PIN) == stranger
    Person.objects.filter(pk=scene.valeter.pk).update(is_active=False)
    assert isinstance(tried(scene.valeter, PIN), NotSignedIn)


def test_a_colleagues_right_pin_wipes_nobody_elses_count(scene: Scene) -> None:
    pin_set(person=scene.manager, pin="1470")
    for _ in range(4):
        tried(scene.valeter)
        assert tried(scene.manager, "1470") == scene.manager
    assert isinstance(tried(scene.valeter), TooManyRequests)


def test_a_wrong_pin_is_logged_without_the_pin(
    scene: Scene, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG), capture_logs() as logged:
        tried(scene.valeter, "86420")
    assert {"person_id": str(scene.valeter.pk), "failures": 1}.items() <= logged[-1].items()
    assert logged[-1]["event"] == "pin_refused"
    assert "86420" not in without_ids(f"{logged}{caplog.text}")


@pytest.mark.django_db(transaction=True)
def test_many_tries_at_once_get_no_more_than_one_after_the_other() -> None:
    person = make_scene().valeter
    pin_set(person=person, pin=PIN)
    together = Barrier(12)

    def once(_number: int) -> str:
        try:
            together.wait(timeout=PATIENCE_SECONDS)
            return type(tried(person)).__name__
        finally:
            connection.close()

    with ThreadPoolExecutor(12) as pool:
        answers = sorted(pool.map(once, range(12)))
    assert answers.count("NotSignedIn") == 4
    assert answers.count("TooManyRequests") == 8
    assert Person.objects.get(pk=person.pk).pin_failures == 5


def test_a_pin_changed_while_it_was_looked_at_is_not_taken(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    def changed_meanwhile(pin: str, kept: str) -> bool:
        Person.objects.filter(pk=scene.valeter.pk).update(pin="another")
        return bool(pin and kept)

    monkeypatch.setattr(pins, "check_password", changed_meanwhile)
    assert isinstance(tried(scene.valeter, PIN), NotSignedIn)
