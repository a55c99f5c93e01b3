"""The desk sets up operations, packages and phrases: found, worded, hidden, added, taken back."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.work.calc.catalogue.operations import OPERATIONS, PACKAGES
from jobs.work.models import Operation, Package, Phrase
from jobs.work.selectors.catalogue import catalogue_of
from tests.api.steps import posted
from tests.scene import Scene, person_api

OPERATION = {
    "name": "Clean the roof box",
    "stage": "cleaning",
    "standard_minutes": "25",
    "waits": "",
    "wait_minutes": "",
    "own_caution": "Lift it in pairs.",
    "code": "",
}
WASH = {"name": "Foam and wash", "standard_minutes": "20", "own_caution": "Left hose only."}
PHRASE = {
    "noticed": "Sand in every corner.",
    "circumstance": "",
    "advice": "",
    "weight": "for_information",
    "kind": "interior",
    "group": "inside",
    "code": "",
}
LISTS = ("operations", "packages", "phrases")


@pytest.fixture
def desk(scene: Scene) -> Client:
    return person_api(scene.manager).client


def text(answer: Any) -> str:
    return str(answer.content.decode())


def sent(desk: Client, path: str, **form: Any) -> str:
    """Send a form that must go well; return the page it leads to."""
    answer = desk.post(path, form)
    assert answer.status_code == 303, text(answer)
    return text(desk.get(answer.headers["Location"]))


def test_the_index_leads_to_everything_that_can_be_set_up(desk: Client) -> None:
    shown = desk.get("/desk/set-up")
    for word in (*LISTS, "people", "tablets", "dealers", "due"):
        assert f'href="/desk/{word}"' in text(shown)
    for path in ("/keys", "/notices/"):
        assert f'href="{path}"' in text(shown)


@pytest.mark.parametrize("many", LISTS)
def test_a_list_costs_the_same_few_queries_however_long_it_is(desk: Client, many: str) -> None:
    counts = []
    for names in (("First",), ("Second", "Third", "Fourth")):
        for name in names:
            sent(desk, "/desk/new-operation", **{**OPERATION, "name": name})
            sent(desk, "/desk/new-package", name=f"With {name}", operations=["wax"], code="")
            sent(desk, "/desk/new-phrase", **{**PHRASE, "noticed": name})
        with CaptureQueriesContext(connection) as queries:
            shown = text(desk.get(f"/desk/{many}"))
        counts.append(len(queries))
        assert names[-1] in shown
    assert counts[0] == counts[1] <= 5


def test_operations_stand_by_stage_in_words(desk: Client) -> None:
    shown = text(desk.get("/desk/operations"))
    assert shown.index(">Intake</h2>") < shown.index(">Cleaning</h2>")
    assert shown.index(">Cleaning</h2>") < shown.index(">Correction</h2>")
    for operation in OPERATIONS.values():
        assert operation.name in shown
    assert "60 minutes · then drying for 240 minutes" in shown


def test_a_search_finds_by_name_and_code_and_says_where_nothing_is_found(desk: Client) -> None:
    found = text(desk.get("/desk/operations?search=WET"))
    assert "Wet extraction" in found
    assert "Vacuum the interior" not in found
    none = text(desk.get("/desk/phrases", {"search": "<b>zeppelin"}))
    assert "Nothing here has “&lt;b&gt;zeppelin” in it." in none
    assert "show all" in none


def test_an_operation_is_reworded_and_dealers_and_tasks_have_the_new_words(
    scene: Scene, desk: Client
) -> None:
    shown = sent(desk, "/desk/operations/wash_body", **WASH)
    assert "Saved: Foam and wash." in shown
    assert "your words" in shown
    job = posted(scene.dealer_api(), operations=["wash_body"])
    task = person_api(scene.valeter).get(f"/jobs/{job['id']}").json()["tasks"][0]
    assert (task["name"], task["planned_minutes"]) == ("Foam and wash", 20)


def test_our_caution_is_shown_and_stays_beside_theirs(scene: Scene, desk: Client) -> None:
    shown = text(desk.get("/desk/operations/wash_body"))
    assert "Wash water goes to a permitted drain, never to surface water." in shown
    assert "Our caution stands" in shown
    sent(desk, "/desk/operations/wash_body", **WASH)
    found = catalogue_of(scene.workshop.pk).operations["wash_body"]
    assert found.caution == f"{OPERATIONS['wash_body'].caution} Left hose only."
    assert ">Left hose only.</textarea>" in text(desk.get("/desk/operations/wash_body"))


def test_saving_what_stands_leaves_it_ours(desk: Client) -> None:
    stands = {"name": OPERATIONS["wash_body"].name, "standard_minutes": "35", "own_caution": ""}
    assert "Nothing was changed" in sent(desk, "/desk/operations/wash_body", **stands)
    parts = sorted(PACKAGES["full_valet"].operations)
    sent(desk, "/desk/packages/full_valet", name="Full valet", operations=parts)
    assert not Operation.objects.exists()
    assert not Package.objects.exists()


def test_it_goes_back_to_ours(desk: Client) -> None:
    sent(desk, "/desk/operations/wash_body", **WASH)
    assert "Go back to ours" in text(desk.get("/desk/operations/wash_body"))
    shown = sent(desk, "/desk/operations/wash_body/remove")
    assert f"Back to ours: {OPERATIONS['wash_body'].name}." in shown
    assert "Go back to ours" not in text(desk.get("/desk/operations/wash_body"))


def test_ours_has_no_field_for_its_stage_and_wait_and_takes_none(desk: Client) -> None:
    shown = text(desk.get("/desk/operations/wax"))
    assert 'name="stage"' not in shown
    assert 'name="waits"' not in shown
    assert "Done in correction. The car waits for curing afterwards." in shown
    form = {**WASH, "wait_minutes": "45", "stage": "intake", "waits": ""}
    sent(desk, "/desk/operations/wax", **form)
    wax = Operation.objects.get()
    assert (wax.stage, wax.waits, wax.wait_minutes) == ("correction", "cure", 45)


def test_an_operation_of_its_own_gets_a_code_from_its_name(desk: Client) -> None:
    shown = sent(desk, "/desk/new-operation", **OPERATION)
    assert "Added: Clean the roof box. Dealers can order it from now on." in shown
    assert "your own" in shown
    sent(desk, "/desk/new-operation", **OPERATION)
    codes = set(Operation.objects.values_list("code", flat=True))
    assert codes == {"clean_the_roof_box", "clean_the_roof_box_2"}
    page = text(desk.get("/desk/operations/clean_the_roof_box"))
    assert 'name="stage"' in page
    shown = sent(desk, "/desk/operations/clean_the_roof_box/remove")
    assert "Deleted: Clean the roof box." in shown


def test_what_is_wrong_stands_beside_its_field_and_nothing_typed_is_lost(desk: Client) -> None:
    form = {**OPERATION, "standard_minutes": "0", "waits": "cure", "name": ""}
    answer = desk.post("/desk/new-operation", form)
    assert answer.status_code == 400
    shown = text(answer)
    for name in ("name", "standard_minutes", "wait_minutes"):
        assert f'id="{name}-wrong"' in shown
    assert "Say how many minutes the car waits." in shown
    assert ">Lift it in pairs.</textarea>" in shown
    taken = desk.post("/desk/new-operation", {**OPERATION, "code": "wash_body"})
    assert taken.status_code == 409
    assert "has the code wash_body already" in text(taken)
    emptied = desk.post("/desk/operations/wash_body", {**WASH, "name": "", "standard_minutes": ""})
    assert emptied.status_code == 400
    assert not Operation.objects.exists()


def test_a_wait_of_its_own_is_refused_without_minutes_when_changed_too(desk: Client) -> None:
    sent(desk, "/desk/new-operation", **OPERATION)
    form = {**OPERATION, "waits": "drying", "wait_minutes": "0"}
    answer = desk.post("/desk/operations/clean_the_roof_box", form)
    assert answer.status_code == 400
    assert 'id="wait_minutes-wrong"' in text(answer)


def test_a_hidden_operation_stands_apart_and_comes_back(scene: Scene, desk: Client) -> None:
    shown = sent(desk, "/desk/operations/odour/hide", hidden="yes", search="odour")
    assert "Hidden: Treat an odour at its source." in shown
    assert ">Hidden</h2>" in shown
    assert 'value="odour"' in shown  # the search goes on
    listed = scene.dealer_api().get("/operations").json()["operations"]
    assert "odour" not in {operation["code"] for operation in listed}
    assert "Shown again" in sent(desk, "/desk/operations/odour/hide", hidden="no")
    assert catalogue_of(scene.workshop.pk).withdrawn(["odour"]) == []


def test_what_a_car_still_needs_is_not_deleted_and_the_page_says_which(
    scene: Scene, desk: Client
) -> None:
    sent(desk, "/desk/new-operation", **OPERATION)
    job = posted(scene.dealer_api(), operations=["clean_the_roof_box"])
    answer = desk.post("/desk/operations/clean_the_roof_box/remove")
    assert answer.status_code == 409
    assert job["registration"] in text(answer)
    assert "Hide it now" in text(answer)


def test_a_package_is_ticked_together_in_the_order_of_the_stages(desk: Client) -> None:
    shown = text(desk.get("/desk/new-package"))
    assert shown.index("<legend>Intake") < shown.index("<legend>Cleaning")
    assert shown.index("<legend>Cleaning") < shown.index("<legend>Correction")
    sent(desk, "/desk/new-operation", **OPERATION)
    ticked = ["walk_round", "vacuum", "wax", "clean_the_roof_box"]
    shown = sent(desk, "/desk/new-package", name="Back from holidays", operations=ticked, code="")
    assert "Added: Back from holidays." in shown
    assert "90 minutes" in shown
    again = ["walk_round", "wax", "glass"]
    sent(desk, "/desk/packages/back_from_holidays", name="Holidays", operations=again)
    package = Package.objects.get()
    assert package.name == "Holidays"
    assert package.operations == ["walk_round", "glass", "wax"]


def test_a_package_needs_a_name_and_something_in_it(desk: Client) -> None:
    answer = desk.post("/desk/new-package", {"name": "", "code": ""})
    assert answer.status_code == 400
    assert 'id="name-wrong"' in text(answer)
    assert 'id="operations-wrong"' in text(answer)
    emptied = desk.post("/desk/packages/mini_valet", {"name": "Mini valet"})
    assert emptied.status_code == 400
    assert not Package.objects.exists()


def test_a_hidden_part_of_a_package_is_named_as_such_and_may_stay(desk: Client) -> None:
    sent(desk, "/desk/operations/plastics/hide", hidden="yes")
    shown = text(desk.get("/desk/packages/mini_valet"))
    assert "Clean interior plastics (hidden)" in shown
    assert 'value="plastics"' not in text(desk.get("/desk/new-package"))
    parts = PACKAGES["mini_valet"].operations
    sent(desk, "/desk/packages/mini_valet", name="Quick one", operations=parts)
    assert Package.objects.get().operations == list(parts)


def test_a_phrase_is_reworded_added_hidden_and_taken_back(scene: Scene, desk: Client) -> None:
    shown = sent(desk, "/desk/new-phrase", **PHRASE)
    assert "Added: Sand in every corner." in shown
    code = Phrase.objects.get().code
    assert code == "sand_in_every_corner"
    changed = {**PHRASE, "noticed": "Sand, much of it.", "weight": "before_sale"}
    assert "Saved: Sand, much of it." in sent(desk, f"/desk/phrases/{code}", **changed)
    assert "Hidden" in sent(desk, f"/desk/phrases/{code}/hide", hidden="yes")
    listed = person_api(scene.valeter).get("/phrases").json()["phrases"]
    assert code not in {phrase["code"] for phrase in listed}
    assert "Deleted" in sent(desk, f"/desk/phrases/{code}/remove")
    assert not Phrase.objects.exists()


@pytest.mark.parametrize("path", ["operations", "packages", "phrases"])
def test_another_workshops_entry_is_as_if_it_were_not(
    scene: Scene, desk: Client, path: str
) -> None:
    Operation.objects.create(
        workshop=scene.stranger_workshop,
        code="theirs",
        name="Theirs",
        stage="cleaning",
        standard_minutes=5,
        updated_at=scene.account.created_at,
    )
    assert desk.get(f"/desk/{path}/theirs").status_code == 404
    for act in ("", "/hide", "/remove"):
        assert desk.post(f"/desk/{path}/theirs{act}", OPERATION).status_code == 404


def test_words_with_markup_in_them_are_shown_as_words(desk: Client) -> None:
    name = "<script>alert(1)</script>"
    sent(desk, "/desk/new-operation", **{**OPERATION, "name": name, "own_caution": name})
    code = Operation.objects.get().code
    for path in ("operations", f"operations/{code}", "new-package", "packages"):
        shown = text(desk.get(f"/desk/{path}"))
        assert name not in shown
    assert "&lt;script&gt;alert(1)" in text(desk.get("/desk/operations"))
