"""A workshop's operations and packages: its own beside ours, and what an order makes of them."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.models import TradeAccount
from accounts.services import workshop_add
from core.clock import now
from jobs.work.calc.catalogue.operations import OPERATIONS, PACKAGES
from jobs.work.models import Operation, Package
from jobs.work.services import catalogue as service
from tests.api.steps import arrived, detail, done, fields, history, moved, posted, refused
from tests.api.world import openapi
from tests.scene import Api, Scene, key_api, order, person_api

ROOF_BOX = {
    "code": "roof_box",
    "name": "Clean the roof box",
    "stage": "cleaning",
    "standard_minutes": 25,
    "own_caution": "Lift it in pairs.",
}
DRY_TENT = {
    "code": "tent",
    "name": "Dry the tent",
    "stage": "curing",
    "standard_minutes": 10,
    "waits": "drying",
    "wait_minutes": 90,
}
HOLIDAY = {
    "code": "holiday",
    "name": "Back from the holidays",
    "operations": ["roof_box", "vacuum", "roof_box"],
}


def operations(api: Api, query: str = "") -> dict[str, Any]:
    return {
        operation["code"]: operation
        for operation in done(api.get(f"/operations{query}"))["operations"]
    }


def packages(api: Api, query: str = "") -> dict[str, Any]:
    return {package["code"]: package for package in done(api.get(f"/packages{query}"))["packages"]}


def tasks(api: Api, job: Any) -> dict[str, Any]:
    return {
        task["operation"]: task for task in detail(api, job)["tasks"] if task["state"] != "dropped"
    }


@pytest.fixture
def owner(scene: Scene) -> Api:
    return person_api(scene.owner)


def test_a_workshop_begins_with_ours(scene: Scene) -> None:
    for api in (scene.workshop_api(), scene.dealer_api()):
        assert list(operations(api)) == list(OPERATIONS)
        assert list(packages(api)) == list(PACKAGES)
        shown = [*operations(api).values(), *packages(api).values()]
        assert {(entry["wording"], entry["hidden"]) for entry in shown} == {("standard", False)}


def test_it_adds_changes_and_deletes_an_operation_of_its_own(scene: Scene, owner: Api) -> None:
    added = owner.post("/operations", ROOF_BOX)
    assert added.status_code == 201
    stands = {
        **ROOF_BOX,
        "waits": "",
        "wait_minutes": 0,
        "caution": "Lift it in pairs.",
        "hidden": False,
        "wording": "own",
    }
    assert done(added) == stands
    assert operations(scene.dealer_api())["roof_box"] == stands
    changed = done(owner.patch("/operations/roof_box", {"stage": "intake", "own_caution": ""}))
    assert changed == {**stands, "stage": "intake", "own_caution": "", "caution": ""}
    assert owner.delete("/operations/roof_box").status_code == 204
    refused(owner.delete("/operations/roof_box"), 404)
    refused(owner.patch("/operations/roof_box", {"name": "x"}), 404)


def test_ours_is_reworded_keeps_our_caution_and_goes_back(scene: Scene, owner: Api) -> None:
    ours = operations(owner)["wash_body"]
    words = {"name": "Foam and wash", "standard_minutes": 20, "own_caution": "Left hose only."}
    theirs = done(owner.patch("/operations/wash_body", words))
    both = f"{ours['caution']} Left hose only."
    assert theirs == {**ours, **words, "caution": both, "wording": "reworded"}
    assert operations(scene.dealer_api())["wash_body"] == theirs
    again = done(owner.patch("/operations/wash_body", {"own_caution": ""}))
    assert again["caution"] == ours["caution"]
    stranger = key_api(scene.stranger_workshop)
    assert operations(stranger)["wash_body"] == ours
    for _ in range(2):
        assert owner.delete("/operations/wash_body").status_code == 204
    assert operations(owner)["wash_body"] == ours


def test_ours_keeps_its_stage_and_what_it_waits_for(owner: Api) -> None:
    wrong = owner.patch("/operations/wax", {"stage": "intake", "waits": ""})
    assert fields(wrong) == ["stage", "waits", "wait_minutes"]
    assert done(owner.patch("/operations/wax", {"stage": "correction", "wait_minutes": 45}))
    assert operations(owner)["wax"]["wait_minutes"] == 45


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"stage": "ready"}, ["stage"]),
        ({"stage": "lunch"}, ["stage"]),
        ({"standard_minutes": 0}, ["standard_minutes"]),
        ({"standard_minutes": 2401}, ["standard_minutes"]),
        ({"waits": "cure"}, ["wait_minutes"]),
        ({"wait_minutes": 30}, ["wait_minutes"]),
        ({"waits": "drying", "wait_minutes": 20_161}, ["wait_minutes"]),
        ({"waits": "lunch", "wait_minutes": 20}, ["waits"]),
        ({"code": "Roof Box"}, ["code"]),
        (
            {"name": " ", "colour": "red", "standard_minutes": "x"},
            ["colour", "name", "standard_minutes"],
        ),
    ],
)
def test_what_does_not_fit_is_named_all_at_once(
    owner: Api, changes: dict[str, Any], wrong: list[str]
) -> None:
    answer = owner.post("/operations", {**ROOF_BOX, **changes})
    assert sorted(fields(answer)) == wrong
    assert not Operation.objects.exists()


def test_a_change_that_leaves_a_wait_without_minutes_is_refused(owner: Api) -> None:
    done(owner.post("/operations", DRY_TENT))
    assert fields(owner.patch("/operations/tent", {"waits": ""})) == ["wait_minutes"]
    assert done(owner.patch("/operations/tent", {"waits": "", "wait_minutes": 0}))["waits"] == ""


def test_a_package_of_its_own_holds_each_operation_once(scene: Scene, owner: Api) -> None:
    done(owner.post("/operations", ROOF_BOX))
    added = done(owner.post("/packages", HOLIDAY))
    stands = {
        **HOLIDAY,
        "operations": ["roof_box", "vacuum"],
        "hidden": False,
        "wording": "own",
    }
    assert added == stands
    assert packages(scene.dealer_api())["holiday"] == stands
    more = done(owner.patch("/packages/holiday", {"operations": ["vacuum", "glass"]}))
    assert more["operations"] == ["vacuum", "glass"]
    assert owner.delete("/packages/holiday").status_code == 204
    refused(owner.delete("/packages/holiday"), 404)
    refused(owner.patch("/packages/holiday", {}), 404)


def test_a_package_of_ours_is_refilled_and_goes_back(owner: Api) -> None:
    ours = packages(owner)["mini_valet"]
    theirs = done(owner.patch("/packages/mini_valet", {"operations": ["vacuum"]}))
    assert theirs == {**ours, "operations": ["vacuum"], "wording": "reworded"}
    assert owner.delete("/packages/mini_valet").status_code == 204
    assert packages(owner)["mini_valet"] == ours


def test_a_package_names_known_operations_and_at_least_one(owner: Api) -> None:
    answer = owner.post("/packages", {**HOLIDAY, "name": "", "operations": ["vaccum", "wax"]})
    assert sorted(fields(answer)) == ["name", "operations"]
    assert "vaccum" in answer.content.decode()
    assert fields(owner.post("/packages", {**HOLIDAY, "operations": []})) == ["operations"]
    assert fields(owner.post("/packages", {**HOLIDAY, "operations": ["mini_valet"]})) == [
        "operations"
    ]
    assert fields(owner.patch("/packages/mini_valet", {"operations": ["waxx"]})) == ["operations"]
    assert not Package.objects.exists()


@pytest.mark.parametrize("code", ["wash_body", "mini_valet", "roof_box", "holiday"])
def test_one_code_means_one_thing(owner: Api, code: str) -> None:
    done(owner.post("/operations", ROOF_BOX))
    done(owner.post("/packages", HOLIDAY))
    refused(owner.post("/operations", {**ROOF_BOX, "code": code}), 409, "conflict")
    refused(owner.post("/packages", {**HOLIDAY, "code": code}), 409, "conflict")
    assert (Operation.objects.count(), Package.objects.count()) == (1, 1)


def test_there_is_a_most(owner: Api, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "MOST_OPERATIONS", 1)
    monkeypatch.setattr(service, "MOST_PACKAGES", 1)
    done(owner.patch("/operations/wax", {"name": "Beeswax"}))  # one of ours is not one more
    done(owner.post("/operations", ROOF_BOX))
    refused(owner.post("/operations", DRY_TENT), 409, "conflict")
    done(owner.post("/packages", HOLIDAY))
    refused(owner.post("/packages", {**HOLIDAY, "code": "other"}), 409, "conflict")
    assert (Operation.objects.count(), Package.objects.count()) == (2, 1)


def test_what_is_hidden_is_shown_only_to_who_asks(scene: Scene, owner: Api) -> None:
    done(owner.patch("/operations/odour", {"hidden": True}))
    done(owner.patch("/packages/mini_valet", {"hidden": True}))
    for api in (owner, scene.dealer_api()):
        assert "odour" not in operations(api)
        assert "mini_valet" not in packages(api)
        assert operations(api, "?hidden=true")["odour"]["hidden"] is True
        assert packages(api, "?hidden=true")["mini_valet"]["hidden"] is True
    assert fields(owner.get("/operations?hidden=maybe")) == ["hidden"]


def test_an_order_is_done_in_the_workshops_words_and_minutes(scene: Scene, owner: Api) -> None:
    done(owner.post("/operations", ROOF_BOX))
    done(owner.post("/packages", HOLIDAY))
    done(owner.patch("/operations/vacuum", {"name": "Hoover", "standard_minutes": 12}))
    job = posted(scene.dealer_api(), operations=["holiday"])
    made = tasks(owner, job)
    assert {code: (task["name"], task["planned_minutes"]) for code, task in made.items()} == {
        "roof_box": ("Clean the roof box", 25),
        "vacuum": ("Hoover", 12),
    }
    done(owner.patch("/operations/vacuum", {"name": "Suck it out"}))
    assert tasks(owner, job)["vacuum"]["name"] == "Hoover"


def test_an_order_for_what_this_workshop_does_not_do_names_every_wrong_code(
    scene: Scene, owner: Api
) -> None:
    stranger = key_api(scene.stranger_workshop)
    done(stranger.post("/operations", ROOF_BOX))
    done(owner.patch("/operations/odour", {"hidden": True}))
    wrong = ["roof_box", "vacuum", "nonsense", "odour"]
    answer = scene.dealer_api().post("/work-orders", order(operations=wrong))
    assert fields(answer) == ["operations"]
    said = refused(answer, 400, "invalid-request")["errors"][0]["message"]
    assert said.startswith("Unknown: roof_box, nonsense. Not done here any more: odour.")
    both = scene.dealer_api().post("/work-orders", order(operations=wrong, vin="SHORT"))
    assert sorted(fields(both)) == ["operations", "vin"]
    assert said in both.content.decode()


def test_each_line_of_a_batch_is_held_against_the_catalogue(scene: Scene, owner: Api) -> None:
    done(owner.post("/operations", ROOF_BOX))
    lines = [
        {"registration": "TU21 ABC", "operations": ["roof_box"]},
        {"registration": "TU21 ABD", "operations": ["tent"]},
    ]
    answer = done(scene.dealer_api().post("/work-orders/batch", {"work_orders": lines}))
    assert [line["status"] for line in answer["lines"]] == [201, 400]
    assert answer["lines"][1]["problem"]["errors"][0]["field"] == "operations"


def test_an_order_costs_one_query_for_the_catalogue_and_a_batch_one_in_all(
    scene: Scene, owner: Api
) -> None:
    done(owner.post("/operations", ROOF_BOX))
    dealer = scene.dealer_api()
    lines = [{"registration": f"TU21 AB{letter}", "operations": ["roof_box"]} for letter in "CDE"]
    looks = []
    for path, body in (
        ("/work-orders", lines[0]),
        ("/work-orders/batch", {"work_orders": lines[1:]}),
    ):
        with CaptureQueriesContext(connection) as queries:
            done(dealer.post(path, body))
        looks.append([query["sql"] for query in queries if "jobs_operation" in query["sql"]])
    assert [len(found) for found in looks] == [1, 1]


def test_what_was_ordered_stays_though_it_is_hidden_or_gone(scene: Scene, owner: Api) -> None:
    done(owner.post("/operations", ROOF_BOX))
    dealer = scene.dealer_api()
    job = posted(dealer, operations=["roof_box", "odour", "mini_valet"])
    done(owner.patch("/operations/odour", {"hidden": True}))
    done(owner.patch("/packages/mini_valet", {"hidden": True}))
    path = f"/work-orders/{job['id']}"
    kept = done(dealer.patch(path, {"operations": ["odour", "mini_valet", "wax"]}))
    assert kept["operations"] == ["odour", "mini_valet", "wax"]
    made = tasks(owner, job)
    assert {"odour", "wax", "vacuum"} <= set(made)
    assert "roof_box" not in made
    assert owner.delete("/operations/roof_box").status_code == 204  # its task was dropped
    answer = dealer.patch(path, {"operations": ["odour", "roof_box"]})
    assert fields(answer) == ["operations"]
    done(dealer.patch(path, {"operations": ["wax"]}))
    assert set(tasks(owner, job)) == {"wax"}


def test_a_change_of_an_order_names_wrong_codes_beside_its_other_errors(scene: Scene) -> None:
    job, dealer = posted(scene.dealer_api()), scene.dealer_api()
    answer = dealer.patch(f"/work-orders/{job['id']}", {"operations": ["waxx"], "mileage": "far"})
    assert sorted(fields(answer)) == ["mileage", "operations"]


def test_a_package_that_was_refilled_leaves_cars_that_were_ordered_with_it_alone(
    scene: Scene, owner: Api
) -> None:
    dealer = scene.dealer_api()
    job = posted(dealer, operations=["mini_valet"])
    before = set(tasks(owner, job))
    done(owner.patch("/packages/mini_valet", {"operations": ["vacuum", "odour"]}))
    done(dealer.patch(f"/work-orders/{job['id']}", {"operations": ["mini_valet", "wax"]}))
    assert set(tasks(owner, job)) == before | {"wax"}


def test_hidden_parts_of_a_package_are_not_ordered_anew(scene: Scene, owner: Api) -> None:
    done(owner.patch("/operations/plastics", {"hidden": True}))
    made = tasks(owner, posted(scene.dealer_api(), operations=["mini_valet"]))
    assert set(made) == set(PACKAGES["mini_valet"].operations) - {"plastics"}


def test_a_task_is_added_from_the_workshops_own_and_told_in_its_words(
    scene: Scene, owner: Api
) -> None:
    done(owner.post("/operations", DRY_TENT))
    job = arrived(scene)
    path = f"/jobs/{job['id']}/tasks"
    task = done(owner.post(path, {"operation": "tent"}))
    assert (task["name"], task["stage"], task["planned_minutes"]) == ("Dry the tent", "curing", 10)
    assert history(owner, job)[-1]["data"]["name"] == "Dry the tent"
    for code in ("waxx", "mini_valet"):
        assert fields(owner.post(path, {"operation": code})) == ["operation"]
    done(owner.patch("/operations/odour", {"hidden": True}))
    assert fields(owner.post(path, {"operation": "odour"})) == ["operation"]


def test_its_own_wait_holds_a_car_back_as_ours_do(scene: Scene, owner: Api) -> None:
    done(owner.post("/operations", {**DRY_TENT, "stage": "cleaning"}))
    job = moved(owner, arrived(scene, operations=["tent"]), "cleaning")
    path = f"/jobs/{job['id']}/tasks/{tasks(owner, job)['tent']['id']}"
    done(owner.post(f"{path}/start"))
    done(owner.post(f"{path}/finish"))
    clock = detail(owner, job)["clocks"][0]
    assert (clock["kind"], clock["operation"]) == ("drying", "tent")
    refused(owner.post(f"/jobs/{job['id']}/moves", {"to": "ready", "version": job["version"]}), 409)


def test_an_operation_that_a_car_or_a_package_needs_is_not_deleted(
    scene: Scene, owner: Api
) -> None:
    done(owner.post("/operations", ROOF_BOX))
    done(owner.post("/packages", HOLIDAY))
    assert "Back from the holidays" in refused(owner.delete("/operations/roof_box"), 409)["detail"]
    assert owner.delete("/packages/holiday").status_code == 204
    job = posted(scene.dealer_api(), operations=["roof_box"])
    assert job["registration"] in refused(owner.delete("/operations/roof_box"), 409)["detail"]
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    assert owner.delete("/operations/roof_box").status_code == 204
    assert tasks(owner, job)["roof_box"]["name"] == "Clean the roof box"


PROPOSAL = {
    "what": "The roof box too",
    "why": "It came full of sand.",
    "if_not_done": "Sand in the boot",
    "operations": ["roof_box"],
    "minutes": 30,
    "hold": False,
}


def test_a_request_proposes_its_own_and_an_approval_makes_them_tasks(
    scene: Scene, owner: Api
) -> None:
    job, soon = arrived(scene), now() + timedelta(hours=3)
    path = f"/jobs/{job['id']}/requests"
    wrong = owner.post(path, {**PROPOSAL, "answer_by": soon, "minutes": 0})
    assert sorted(fields(wrong)) == ["minutes", "operations"]
    assert fields(owner.post(path, {**PROPOSAL, "answer_by": soon})) == ["operations"]
    done(owner.post("/operations", ROOF_BOX))
    request = done(owner.post(path, {**PROPOSAL, "answer_by": soon}))
    assert "TU21" in refused(owner.delete("/operations/roof_box"), 409)["detail"]
    done(owner.patch("/operations/roof_box", {"hidden": True}))
    done(scene.dealer_api().post(f"/requests/{request['id']}/answer", {"answer": "approve"}))
    assert tasks(owner, job)["roof_box"]["planned_minutes"] == 30


def test_the_steps_of_refinishing_are_told_in_the_workshops_words(scene: Scene, owner: Api) -> None:
    done(owner.patch("/operations/masking", {"name": "Tape up", "own_caution": "Green tape."}))
    for api, words in ((owner, "Tape up"), (scene.dealer_api(), OPERATIONS["masking"].name)):
        parts = done(api.get("/refinishing-steps"))["parts"]
        steps = [step for part in parts for step in part["steps"]]
        masking = next(step for step in steps if step["operation"] == "masking")
        assert masking["name"] == words
        assert masking["caution"].startswith(OPERATIONS["masking"].caution)
        assert masking["caution"].endswith("Green tape.") is (api is owner)


def test_a_dealer_with_several_workshops_names_one(scene: Scene) -> None:
    second_workshop = workshop_add(name="Pennywhistle Valeting")
    TradeAccount.objects.create(dealer=scene.dealer, workshop=second_workshop)
    done(key_api(second_workshop).patch("/operations/wax", {"name": "Beeswax"}))
    dealer = scene.dealer_api()
    answer = dealer.get("/operations")
    assert fields(answer) == ["workshop_id"]
    assert str(second_workshop.pk) in answer.content.decode()
    assert operations(dealer, f"?workshop_id={second_workshop.pk}")["wax"]["name"] == "Beeswax"
    mine = operations(dealer, f"?workshop_id={scene.workshop.pk}")
    assert mine["wax"]["name"] == OPERATIONS["wax"].name


def test_nobody_reads_the_catalogue_of_a_workshop_it_does_not_deal_with(scene: Scene) -> None:
    for api in (scene.dealer_api(), scene.workshop_api()):
        problems = []
        for workshop_id in (scene.stranger_workshop.pk, uuid4()):
            problem = refused(api.get(f"/packages?workshop_id={workshop_id}"), 404, "not-found")
            problem.pop("request_id", None)
            problems.append(problem)
        assert problems[0] == problems[1]
        assert fields(api.get("/packages?workshop_id=near")) == ["workshop_id"]
    own = f"?workshop_id={scene.workshop.pk}"
    assert packages(scene.workshop_api(), own) == packages(scene.workshop_api())


def test_a_dealer_without_an_account_is_told_so_and_a_closed_one_still_reads(scene: Scene) -> None:
    TradeAccount.objects.filter(pk=scene.account.pk).update(active=False)
    assert operations(scene.dealer_api())
    TradeAccount.objects.filter(pk=scene.account.pk).delete()
    assert fields(scene.dealer_api().get("/operations")) == ["workshop_id"]


def test_the_document_says_whose_words_they_are() -> None:
    schemas = openapi()["components"]["schemas"]
    for name in ("OperationOutput", "PackageOutput"):
        assert "wording" in schemas[name]["required"]
