"""Ready phrases: ours to begin with, in the workshop's words where it wants."""

from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from jobs.work.models import Phrase
from jobs.work.services.findings import phrases as service
from jobs.work.words.findings import STANDARD
from tests.api.steps import at_once, done, fields, refused
from tests.api.world import openapi
from tests.scene import Api, Scene, key_api, make_scene, person_api

SAND = {
    "code": "sand_everywhere",
    "group": "inside",
    "kind": "interior",
    "weight": "for_information",
    "noticed": "Sand in every corner.",
    "circumstance": "Seats moved",
    "advice": "",
}


def listed(api: Api, query: str = "") -> dict[str, Any]:
    return {phrase["code"]: phrase for phrase in done(api.get(f"/phrases{query}"))["phrases"]}


def test_a_workshop_begins_with_ours(scene: Scene) -> None:
    shown = listed(person_api(scene.valeter))
    assert list(shown) == list(STANDARD)
    assert len(shown) >= 60
    assert {phrase["wording"] for phrase in shown.values()} == {"standard"}
    first = STANDARD["click_full_lock"]
    assert shown["click_full_lock"]["noticed"] == first.noticed
    assert shown["click_full_lock"]["circumstance"] == first.circumstance
    assert shown["click_full_lock"]["weight"] == "before_sale"


def test_it_adds_rewords_and_deletes_its_own(scene: Scene) -> None:
    owner = person_api(scene.owner)
    answer = owner.post("/phrases", SAND)
    assert answer.status_code == 201
    assert done(answer) == {**SAND, "hidden": False, "wording": "own"}
    assert listed(owner)["sand_everywhere"] == done(answer)
    changed = done(owner.patch("/phrases/sand_everywhere", {"weight": "before_sale"}))
    assert changed == {**SAND, "weight": "before_sale", "hidden": False, "wording": "own"}
    assert owner.delete("/phrases/sand_everywhere").status_code == 204
    assert "sand_everywhere" not in listed(owner)
    refused(owner.delete("/phrases/sand_everywhere"), 404)
    refused(owner.patch("/phrases/sand_everywhere", {}), 404)


def test_ours_are_reworded_and_go_back_to_our_words(scene: Scene) -> None:
    owner, code = person_api(scene.owner), "click_full_lock"
    ours = listed(owner)[code]
    done(owner.patch(f"/phrases/{code}", {"noticed": "It ticks."}))
    done(owner.patch(f"/phrases/{code}", {"advice": "Ask Milo."}))
    theirs = {**ours, "noticed": "It ticks.", "advice": "Ask Milo.", "wording": "reworded"}
    assert listed(person_api(scene.valeter))[code] == theirs
    assert list(listed(owner)) == list(STANDARD)
    for _ in range(2):
        assert owner.delete(f"/phrases/{code}").status_code == 204
        assert listed(owner)[code] == ours


def test_what_is_hidden_is_left_out_unless_asked_for(scene: Scene) -> None:
    owner, code = person_api(scene.owner), "click_full_lock"
    done(owner.patch(f"/phrases/{code}", {"hidden": True}))
    assert code not in listed(owner)
    assert code not in listed(owner, "?hidden=false")
    assert listed(owner, "?hidden=true")[code]["hidden"] is True
    done(owner.patch(f"/phrases/{code}", {"hidden": False}))
    assert code in listed(owner)
    assert fields(owner.get("/phrases?hidden=perhaps")) == ["hidden"]


def test_another_workshop_keeps_its_own_words(scene: Scene) -> None:
    owner, stranger = person_api(scene.owner), key_api(scene.stranger_workshop)
    done(owner.post("/phrases", SAND))
    done(owner.patch("/phrases/click_full_lock", {"noticed": "It ticks."}))
    assert "sand_everywhere" not in listed(stranger)
    assert listed(stranger)["click_full_lock"]["wording"] == "standard"
    refused(stranger.patch("/phrases/sand_everywhere", {"noticed": "Mine."}), 404)
    refused(stranger.delete("/phrases/sand_everywhere"), 404)
    done(stranger.post("/phrases", {**SAND, "noticed": "Theirs."}))
    assert listed(owner)["sand_everywhere"]["noticed"] == SAND["noticed"]
    assert owner.delete("/phrases/sand_everywhere").status_code == 204
    assert listed(stranger)["sand_everywhere"]["noticed"] == "Theirs."


def test_a_code_is_taken_once_and_ours_are_taken(scene: Scene) -> None:
    owner = person_api(scene.owner)
    done(owner.post("/phrases", SAND))
    for code in ("sand_everywhere", "click_full_lock"):
        problem = refused(owner.post("/phrases", {**SAND, "code": code}), 409, "conflict")
        assert code in problem["next_step"]


def test_every_wrong_field_of_a_phrase_is_named(scene: Scene) -> None:
    owner = person_api(scene.owner)
    assert fields(owner.post("/phrases", {})) == ["code", "group", "kind", "weight", "noticed"]
    wrong = {
        "code": "Sand everywhere",
        "group": "",
        "kind": "noise",
        "weight": 3,
        "noticed": "x" * 501,
        "circumstance": "x" * 201,
        "advice": "x" * 501,
        "colour": "red",
    }
    assert set(fields(owner.post("/phrases", wrong))) == set(wrong)
    change = {name: value for name, value in wrong.items() if name != "code"}
    answer = owner.patch("/phrases/click_full_lock", {**change, "hidden": "so"})
    assert set(fields(answer)) == {*change, "hidden"}
    assert fields(owner.patch("/phrases/click_full_lock", {"code": "other"})) == ["code"]
    assert listed(owner)["click_full_lock"]["wording"] == "standard"


def test_there_is_room_for_so_many(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "MOST_OWN", 2)
    owner = person_api(scene.owner)
    done(owner.patch("/phrases/click_full_lock", {"noticed": "It ticks."}))
    for count in range(2):
        done(owner.post("/phrases", {**SAND, "code": f"sand_{count}"}))
    refused(owner.post("/phrases", SAND), 409, "conflict")
    assert Phrase.objects.count() == 3  # two of its own, and one of ours reworded


def test_the_list_costs_the_same_however_long_it_is(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    workshop = scene.workshop_api()
    listed(workshop)  # the first use of a key in a minute is noted
    for count in range(3):
        done(workshop.post("/phrases", {**SAND, "code": f"sand_{count}"}))
        with django_assert_num_queries(2):  # the key, the phrases
            listed(workshop)


def test_the_areas_say_whose_left_it_is(scene: Scene) -> None:
    areas = {area["code"]: area for area in done(scene.dealer_api().get("/areas"))["areas"]}
    for area in areas.values():
        if area["side"]:
            twin = areas[area["twin"]]
            assert {area["side"], twin["side"]} == {"left", "right"}
            assert twin["twin"] == area["code"]
            assert area["name"].startswith(area["side"])
    assert "driver's seat" in openapi()["paths"]["/api/v1/areas"]["get"]["description"]


@pytest.mark.django_db(transaction=True)
def test_of_two_who_take_a_code_at_once_one_is_told() -> None:
    scene = make_scene()
    first, second = scene.workshop_api(), scene.workshop_api()
    answers = at_once(lambda: first.post("/phrases", SAND), lambda: second.post("/phrases", SAND))
    assert sorted(answer.status_code for answer in answers) == [201, 409]
