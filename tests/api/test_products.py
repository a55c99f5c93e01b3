"""Products as their data sheets say: kept by the workshop, put onto cars, and clocks by them."""

from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine

from jobs.work.models import Product, ProductUse, WaitClock
from jobs.work.services import products
from tests.api.clock_steps import (
    EIGHT,
    after,
    every_half_hour,
    finished,
    in_curing,
    measured,
    move,
    said,
    task_of,
)
from tests.api.steps import (
    NOWHERE,
    arrived,
    detail,
    done,
    fields,
    history,
    moved,
    refused,
)
from tests.scene import Scene, key_api, person_api

GLOSS: dict[str, Any] = {
    "name": "Gloss for trim, long-lived",
    "operation": "trim_dressing",
    "reference_minutes": 100,
    "reference_celsius": 20.0,
    "q10": 3.0,
    "lowest_celsius": 8.0,
    "apply_from_celsius": 12.0,
    "sheet": "Sheet 7 of January 2027",
}
SECOND = timedelta(seconds=1)


def use(scene: Scene, job: Any, product: Any, operation: str, **more: Any) -> Any:
    workshop = scene.workshop_api()
    body = {"product_id": product["id"], "task_id": task_of(workshop, job, operation)["id"], **more}
    return workshop.post(f"/jobs/{job['id']}/uses", body)


def test_a_product_is_kept_as_it_was_told_and_what_was_not_has_a_default(scene: Scene) -> None:
    owner = person_api(scene.owner)
    made = done(owner.post("/products", GLOSS))
    assert {name: made[name] for name in GLOSS} == GLOSS
    plain = done(owner.post("/products", {"name": "A wax", "reference_minutes": 0}))
    assert plain["operation"] == plain["sheet"] == ""
    assert (plain["reference_celsius"], plain["q10"]) == (15.0, 2.0)
    assert (plain["lowest_celsius"], plain["apply_from_celsius"]) == (5.0, 10.0)
    tam = person_api(scene.valeter)
    listed = done(tam.get("/products"))["products"]
    assert [product["name"] for product in listed] == ["A wax", GLOSS["name"]]
    assert done(tam.get(f"/products/{made['id']}")) == made


def test_it_is_hidden_and_not_deleted_and_can_be_shown_again(scene: Scene) -> None:
    owner = person_api(scene.owner)
    made = done(owner.post("/products", GLOSS))
    hidden = done(owner.patch(f"/products/{made['id']}", {"hidden": True}))
    assert hidden["hidden"] is True
    assert done(owner.get("/products"))["products"] == []
    assert len(done(owner.get("/products?hidden=true"))["products"]) == 1
    assert owner.delete(f"/products/{made['id']}").status_code == 405
    done(owner.patch(f"/products/{made['id']}", {"hidden": False}))
    assert len(done(owner.get("/products"))["products"]) == 1


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"q10": 0.9}, ["q10"]),
        ({"q10": 5.1}, ["q10"]),
        ({"q10": True}, ["q10"]),
        ({"reference_celsius": 61}, ["reference_celsius"]),
        ({"reference_celsius": "warm"}, ["reference_celsius"]),
        ({"apply_from_celsius": 61}, ["apply_from_celsius"]),
        ({"lowest_celsius": 30}, ["lowest_celsius"]),
        ({"reference_minutes": -1}, ["reference_minutes"]),
        ({"reference_minutes": 20_161}, ["reference_minutes"]),
        ({"reference_minutes": None}, ["reference_minutes"]),
        ({"name": ""}, ["name"]),
        ({"name": "x" * 81, "sheet": "x" * 121}, ["name", "sheet"]),
        ({"operation": "gilding"}, ["operation"]),
        ({"colour": "blue", "q10": 9, "lowest_celsius": -40}, ["colour", "lowest_celsius", "q10"]),
    ],
)
def test_bad_figures_are_refused_by_name(
    scene: Scene, wrong: dict[str, Any], named: list[str]
) -> None:
    owner = person_api(scene.owner)
    assert sorted(fields(owner.post("/products", {**GLOSS, **wrong}))) == named
    assert not Product.objects.exists()
    made = done(owner.post("/products", GLOSS))
    assert sorted(fields(owner.patch(f"/products/{made['id']}", wrong))) == named
    assert done(owner.get(f"/products/{made['id']}")) == made


def test_the_lowest_is_held_against_the_reference_that_stands(scene: Scene) -> None:
    owner = person_api(scene.owner)
    made = done(owner.post("/products", GLOSS))
    assert fields(owner.patch(f"/products/{made['id']}", {"reference_celsius": 7})) == [
        "lowest_celsius"
    ]


def test_a_name_is_there_once_at_each_workshop(scene: Scene) -> None:
    owner, strangers = person_api(scene.owner), key_api(scene.stranger_workshop)
    made = done(owner.post("/products", GLOSS))
    refused(owner.post("/products", GLOSS), 409)
    second_product = done(owner.post("/products", {**GLOSS, "name": "Another"}))
    refused(owner.patch(f"/products/{second_product['id']}", {"name": GLOSS["name"]}), 409)
    done(strangers.post("/products", GLOSS))
    refused(strangers.get(f"/products/{made['id']}"), 404)
    refused(strangers.patch(f"/products/{made['id']}", {"hidden": True}), 404)
    assert Product.objects.get(pk=made["id"]).hidden is False


def test_there_is_an_end_to_products(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(products, "MOST_PRODUCTS", 1)
    owner = person_api(scene.owner)
    done(owner.post("/products", GLOSS))
    refused(owner.post("/products", {**GLOSS, "name": "Another"}), 409)
    assert [product.name for product in Product.objects.all()] == [GLOSS["name"]]


def test_putting_it_on_starts_a_clock_by_its_own_facts(scene: Scene) -> None:
    """100 minutes at 20 °C with Q10 = 3 are 100 * 3 ** 0.5 at 15 °C."""
    workshop = scene.workshop_api()
    product = done(workshop.post("/products", GLOSS))
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["trim_dressing"]), "correction")
        applied = done(use(scene, job, product, "trim_dressing", note="Two thin coats."))
        done(workshop.patch(f"/products/{product['id']}", {"reference_minutes": 500}))
        clock.move_to(after(hours=4))
        measured(scene, *every_half_hour(EIGHT, after(hours=4), 15.0))
        done(move(workshop, job, "ready"))
        (found,) = detail(workshop, job)["clocks"]
    assert (applied["product"], applied["clock"]["kind"]) == (GLOSS["name"], "cure")
    assert (found["product"], found["operation"]) == (GLOSS["name"], "trim_dressing")
    ends = datetime.fromisoformat(found["ends_at"])
    assert abs(ends - after(minutes=100 * 3**0.5)) < SECOND
    (entry,) = [entry for entry in history(workshop, job) if entry["kind"] == "product_used"]
    assert (entry["data"]["product"], entry["reason"]) == (GLOSS["name"], "Two thin coats.")
    kept = WaitClock.objects.get()
    assert (kept.q10, kept.lowest_celsius, kept.reference_celsius) == (3.0, 8.0, 20.0)


def test_a_product_that_went_on_outranks_the_clock_of_the_operation(scene: Scene) -> None:
    workshop = scene.workshop_api()
    product = done(workshop.post("/products", {"name": "Quick", "reference_minutes": 60}))
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = moved(workshop, arrived(scene, operations=["trim_dressing"]), "correction")
        task = task_of(workshop, job, "trim_dressing")
        path = f"/jobs/{job['id']}/tasks/{task['id']}"
        done(workshop.post(f"{path}/start"))
        done(use(scene, job, product, "trim_dressing"))
        done(workshop.post(f"{path}/finish"))
        (found,) = detail(workshop, job)["clocks"]
        assert (found["product"], found["ends_at"]) == ("Quick", said(after(hours=1)))
        # Done again without a word about what went on, it waits as such work usually does.
        clock.move_to(after(hours=2))
        done(workshop.post(f"{path}/start"))
        done(workshop.post(f"{path}/finish"))
        assert [wait["product"] for wait in detail(workshop, job)["clocks"]] == ["Quick", ""]


def test_told_after_the_work_it_takes_the_place_of_the_clock_that_runs(scene: Scene) -> None:
    workshop = scene.workshop_api()
    product = done(workshop.post("/products", {"name": "Slow", "reference_minutes": 300}))
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(minutes=10))
        done(use(scene, job, product, "trim_dressing", occurred_at=said(EIGHT)))
        (found,) = detail(workshop, job)["clocks"]
    assert (found["product"], found["ends_at"]) == ("Slow", said(after(hours=5)))


@pytest.mark.parametrize(
    ("own", "minutes"),
    [
        ([], 180),
        ([{"reference_minutes": 60}], 60),
        ([{"reference_minutes": 60}, {"reference_minutes": 90}], 180),
        ([{"reference_minutes": 60}, {"reference_minutes": 90, "hidden": True}], 60),
        ([{"reference_minutes": 60, "operation": ""}], 180),
        ([{"reference_minutes": 0}], None),
    ],
    ids=["none", "one", "two", "one shown", "for any work", "need not cure"],
)
def test_the_one_product_of_an_operation_decides_its_clock(
    scene: Scene, own: list[dict[str, Any]], minutes: int | None
) -> None:
    workshop = scene.workshop_api()
    for number, changes in enumerate(own):
        base = {"name": f"No. {number}", "operation": "trim_dressing"}
        done(workshop.post("/products", {**base, **changes}))
    with time_machine.travel(EIGHT, tick=False):
        job = in_curing(scene, "trim_dressing")
        ends = [clock["ends_at"] for clock in detail(workshop, job)["clocks"]]
    assert ends == ([] if minutes is None else [said(after(minutes=minutes))])


def test_what_need_not_cure_is_written_down_and_starts_no_clock(scene: Scene) -> None:
    workshop = scene.workshop_api()
    product = done(workshop.post("/products", {"name": "Glass foam", "reference_minutes": 0}))
    job = moved(workshop, arrived(scene, operations=["glass"]), "cleaning")
    assert done(use(scene, job, product, "glass"))["clock"] is None
    assert (ProductUse.objects.get().name, WaitClock.objects.count()) == ("Glass foam", 0)


def test_bad_uses_are_refused_and_say_why(scene: Scene) -> None:
    workshop, strangers = scene.workshop_api(), key_api(scene.stranger_workshop)
    product = done(workshop.post("/products", GLOSS))
    job = moved(workshop, arrived(scene, operations=["trim_dressing"]), "correction")
    theirs = done(strangers.post("/products", GLOSS))
    assert fields(use(scene, job, theirs, "trim_dressing")) == ["product_id"]
    done(workshop.patch(f"/products/{product['id']}", {"hidden": True}))
    answer = use(scene, job, product, "trim_dressing")
    assert fields(answer) == ["product_id"]
    assert "show it again first" in answer.json()["detail"]
    path = f"/jobs/{job['id']}/uses"
    wrong = fields(workshop.post(path, {"note": "x" * 301}))
    assert sorted(wrong) == ["note", "product_id", "task_id"]
    refused(workshop.post(path, {"product_id": product["id"], "task_id": NOWHERE}), 404)
    refused(strangers.post(path, {"product_id": theirs["id"], "task_id": NOWHERE}), 404)
    assert not ProductUse.objects.exists()


def test_a_valeter_may_put_it_on_and_not_change_it(scene: Scene) -> None:
    product = done(person_api(scene.manager).post("/products", GLOSS))
    tam = person_api(scene.valeter)
    refused(tam.patch(f"/products/{product['id']}", {"q10": 2}), 403, "not-allowed")
    job = moved(tam, arrived(scene, operations=["trim_dressing"]), "correction")
    task = task_of(tam, job, "trim_dressing")
    body = {"product_id": product["id"], "task_id": task["id"]}
    assert done(tam.post(f"/jobs/{job['id']}/uses", body))["product"] == GLOSS["name"]
    assert finished(tam, job, "trim_dressing") is None
