"""Do not drive on the pages: first on every board, in words, and ended on every car's page."""

from typing import Any

import pytest
from django.test import Client

from jobs.work.models import Finding, Job
from tests.api.desk import awaited, named, signed_in, text_of
from tests.api.found import STOP, acknowledge, clear, found, withdraw
from tests.api.looked import tight
from tests.api.steps import arrived, done, ready
from tests.scene import Scene, person_api

BOARDS = [("valeter", "/tablet/"), ("manager", "/desk/"), ("staff", "/dashboard/")]


def browser(scene: Scene, who: str) -> Client:
    return signed_in(getattr(scene, who))


def two_cars(scene: Scene) -> tuple[Any, Any]:
    """Return a car that is ready and free, and a later one that must not be driven."""
    free = ready(scene, **named(1))
    stopped = ready(scene, **named(2))
    return free, found(person_api(scene.valeter), stopped, STOP)


@pytest.mark.parametrize(("who", "board"), BOARDS)
@pytest.mark.parametrize("over", ["", "acknowledged", "transported"])
def test_it_stands_first_on_every_board_and_says_so_until_it_is_repaired(
    scene: Scene, who: str, board: str, over: str
) -> None:
    _, finding = two_cars(scene)
    awaited(scene)
    if over == "acknowledged":
        done(acknowledge(scene.dealer_api(), finding))
    if over == "transported":
        done(clear(scene.dealer_api(), finding, how="transported"))
    page = text_of(browser(scene, who).get(board))
    page = page[page.index("<main") :]
    assert page.index("Do not drive") < page.index("TU21 AAC") < page.index("TU21 AAB")
    assert "Orders to answer" not in page[: page.index("TU21 AAC")]
    done(clear(scene.workshop_api(), finding))
    page = tight(text_of(browser(scene, who).get(board)))
    assert "Do not drive<span" not in page
    assert ">do not drive<" not in page.lower()


@pytest.mark.parametrize(("who", "board"), BOARDS)
def test_a_cancelled_car_that_stands_there_says_so_too(scene: Scene, who: str, board: str) -> None:
    job = arrived(scene)
    found(scene.workshop_api(), job, STOP)
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    page = text_of(browser(scene, who).get(board))
    assert "Do not drive" in page


@pytest.mark.parametrize(
    ("who", "path"),
    [
        ("manager", "/desk/cars/{job}/findings/{finding}/clear"),
        ("staff", "/dashboard/findings/{finding}/clear"),
    ],
)
def test_the_desk_and_the_dealer_record_by_whom_it_ended(scene: Scene, who: str, path: str) -> None:
    job = arrived(scene)
    finding = found(scene.workshop_api(), job, STOP)
    client, address = browser(scene, who), path.format(job=job["id"], finding=finding["id"])
    assert STOP["noticed"] in text_of(client.get(address))
    assert "This field is required." in text_of(client.post(address, {"how": "repaired"}), 400)
    late = {"how": "repaired", "by": "Corm", "at": "2099-01-01T08:00"}
    assert "too late" in text_of(client.post(address, late), 400)
    answer = client.post(address, {"how": "transported", "by": "Corm Recovery"}, follow=True)
    assert "must still not be driven" in text_of(answer)
    assert "To be transported by Corm Recovery" in text_of(answer)
    assert Job.objects.get().open_holds == 0
    client.post(address, {"how": "repaired", "by": "Corm Recovery"})
    assert not Job.objects.get().do_not_drive


def test_the_desk_withdraws_with_a_word(scene: Scene) -> None:
    job = arrived(scene)
    finding = found(scene.workshop_api(), job, STOP)
    desk = browser(scene, "manager")
    address = f"/desk/cars/{job['id']}/findings/{finding['id']}/withdraw"
    assert "This field is required." in text_of(desk.post(address, {}), 400)
    page = text_of(desk.post(address, {"reason": "Wrong car."}, follow=True))
    assert "Wrong car." in page
    assert "Do not drive this car" not in page
    assert Finding.objects.get().over_how == "withdrawn"
    assert "No action needed" in text_of(desk.get(address))


def test_the_tablet_lets_who_reported_it_withdraw_it_and_a_manager(scene: Scene) -> None:
    job = arrived(scene)
    finding = found(person_api(scene.manager), job, STOP)
    kinds = [
        browser(scene, who)
        .get(f"/tablet/cars/{job['id']}")
        .content.decode()
        .count('data-kind="withdraw"')
        for who in ("valeter", "manager", "owner")
    ]
    assert kinds == [0, 1, 1]
    done(withdraw(person_api(scene.owner), finding))
    page = text_of(browser(scene, "valeter").get(f"/tablet/cars/{job['id']}"))
    assert "Do not drive this car" not in page
    assert "Tapped on the wrong car." in page
    assert 'data-kind="clear"' not in page
