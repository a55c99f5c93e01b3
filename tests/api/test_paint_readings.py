"""Paint readings and tests: taken, refused with the reason, set aside."""

from typing import Any

import pytest

from jobs.work.models import PaintTest, SpotReading
from jobs.work.services import paint as service
from tests.api.steps import NOWHERE, arrived, done, fields, history, posted, refused, told
from tests.scene import Scene, key_api

pytestmark = pytest.mark.django_db

STEEL: dict[str, Any] = {"panel": "bonnet", "material": "steel", "readings": [117, 119, 118]}
PLASTIC: dict[str, Any] = {"panel": "front_bumper", "material": "plastic"}


def read(scene: Scene, job: Any, *spots: Any, **more: Any) -> Any:
    body = {"spots": list(spots), **more}
    return scene.workshop_api().post(f"/jobs/{job['id']}/paint-readings", body)


def test_many_spots_are_recorded_at_once_each_with_its_mean(scene: Scene) -> None:
    job = arrived(scene)
    door = {"panel": "left_front_door", "material": "aluminium", "readings": [100, 101, 103, 104]}
    answer = read(scene, job, STEEL, {**door, "note": "Near the handle"}, PLASTIC)
    assert answer.status_code == 201
    bonnet, handle, bumper = answer.json()["readings"]
    assert (bonnet["microns"], bonnet["deviation_microns"]) == (118, 1)
    assert (handle["microns"], handle["note"]) == (102, "Near the handle")
    assert handle["deviation_microns"] == pytest.approx(1.83)
    assert (bumper["microns"], bumper["readings"], bumper["deviation_microns"]) == (None, [], None)
    entry = history(scene.workshop_api(), job)[-1]
    assert entry["kind"] == "paint_read"
    assert [spot["microns"] for spot in entry["data"]["spots"]] == [118, 102, None]
    assert [spot["panel"] for spot in entry["data"]["spots"]] == [
        "bonnet",
        "left_front_door",
        "front_bumper",
    ]


def test_readings_make_no_notice_and_leave_the_version_alone(scene: Scene) -> None:
    job = arrived(scene)
    before = [kind for kind, _ in told(job)]
    done(read(scene, job, STEEL))
    assert [kind for kind, _ in told(job)] == before
    assert done(scene.workshop_api().get(f"/jobs/{job['id']}"))["version"] == job["version"]


@pytest.mark.parametrize(
    ("spot", "field", "says"),
    [
        ({**STEEL, "readings": [117, -3, 118]}, "spots.1.readings.1", "-3 microns"),
        ({**STEEL, "readings": [9000, 117, 118]}, "spots.1.readings.0", "9000 microns"),
        ({**STEEL, "readings": [117, 118]}, "spots.1.readings", "at least 3"),
        ({**STEEL, "readings": []}, "spots.1.readings", "at least 3"),
        ({"panel": "bonnet", "material": "steel"}, "spots.1.readings", "at least 3"),
        ({**PLASTIC, "readings": [1, 2, 3]}, "spots.1.readings", "Plastic gives no reading"),
        ({**STEEL, "panel": "left_fin"}, "spots.1.panel", "left_fin"),
        ({**STEEL, "panel": "windscreen"}, "spots.1.panel", "windscreen"),
        ({**STEEL, "material": "wood"}, "spots.1.material", "wood"),
        ({**STEEL, "material": "aluminium"}, "spots.1.material", "steel in another spot"),
        ({**STEEL, "readings": [117, True, 118]}, "spots.1.readings.1", "number"),
        ({**STEEL, "readings": [117, "NaN", 118]}, "spots.1.readings.1", "number"),
        ({**STEEL, "readings": [117, "Infinity", 118]}, "spots.1.readings.1", "number"),
        ({**STEEL, "readings": [117, None, 118]}, "spots.1.readings.1", "null"),
        ({**STEEL, "readings": 118}, "spots.1.readings", "list"),
        ({**STEEL, "readings": [118] * 51}, "spots.1.readings", "50"),
        ({**STEEL, "micron": 118}, "spots.1.micron", "no such field"),
        ("bonnet", "spots.1", ""),
    ],
)
def test_a_wrong_spot_is_refused_by_its_place_and_nothing_is_kept(
    scene: Scene, spot: Any, field: str, says: str
) -> None:
    job = arrived(scene)
    answer = read(scene, job, STEEL, spot)
    assert fields(answer) == [field]
    assert says in answer.json()["errors"][0]["message"]
    assert not SpotReading.objects.exists()


def test_every_wrong_spot_is_named_at_once(scene: Scene) -> None:
    job = arrived(scene)
    wrong = [{**STEEL, "panel": "left_fin", "readings": [-3, 9000, 5]}, STEEL, {}]
    answer = read(scene, job, *wrong, occurred_at="yesterday")
    assert set(fields(answer)) == {
        "spots.0.panel",
        "spots.0.readings.0",
        "spots.0.readings.1",
        "spots.2.panel",
        "spots.2.material",
        "spots.2.readings",
        "occurred_at",
    }


@pytest.mark.parametrize("body", [{}, {"spots": []}, {"spots": {}}, {"spots": [STEEL] * 201}])
def test_no_spots_or_too_many_are_refused(scene: Scene, body: Any) -> None:
    job = arrived(scene)
    answer = scene.workshop_api().post(f"/jobs/{job['id']}/paint-readings", body)
    assert fields(answer) == ["spots"]


@pytest.mark.parametrize("readings", [[0, 0, 0], [5000, 5000, 5000], [99.5, 100.5, 100]])
def test_the_bounds_themselves_can_be_read(scene: Scene, readings: list[float]) -> None:
    (kept,) = done(read(scene, arrived(scene), {**STEEL, "readings": readings}))["readings"]
    assert kept["readings"] == readings


def test_a_panel_cannot_be_of_another_material_than_before(scene: Scene) -> None:
    job = arrived(scene)
    (reading,) = done(read(scene, job, STEEL))["readings"]
    aluminium = {**STEEL, "material": "aluminium"}
    problem = refused(read(scene, job, aluminium), 409, "refused")
    assert problem["code"] == "other_material"
    assert "bonnet was recorded as steel" in problem["detail"]
    aside = f"/jobs/{job['id']}/paint-readings/{reading['id']}/set-aside"
    done(scene.workshop_api().post(aside, {"reason": "It is aluminium."}))
    done(read(scene, job, aluminium))


def test_the_same_key_records_the_spots_once(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    path, key = f"/jobs/{job['id']}/paint-readings", {"Idempotency-Key": "spots-1"}
    answers = [api.post(path, {"spots": [STEEL]}, key) for _ in range(2)]
    assert answers[0].json() == answers[1].json()
    assert SpotReading.objects.count() == 1


def test_readings_need_the_car_to_be_here(scene: Scene) -> None:
    job = posted(scene.dealer_api())
    assert refused(read(scene, job, STEEL), 409, "refused")["code"] == "not_arrived"
    api = scene.workshop_api()
    done(api.post(f"/jobs/{job['id']}/arrival"))
    done(api.post(f"/jobs/{job['id']}/collection", {"reason": "Wanted back.", "confirm": True}))
    assert refused(read(scene, job, STEEL), 409, "refused")["code"] == "collected"


def test_a_cancelled_car_that_stands_here_can_be_measured(scene: Scene) -> None:
    job = arrived(scene)
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    (kept,) = done(read(scene, job, STEEL))["readings"]
    assert kept["panel"] == STEEL["panel"]


def test_a_job_takes_only_so_many_spots(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "MOST_SPOTS", 2)
    job = arrived(scene)
    done(read(scene, job, STEEL))
    assert refused(read(scene, job, STEEL, STEEL), 409, "refused")["code"] == "too_many"


def test_a_reading_set_aside_stays_on_record_and_counts_no_more(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    wrong, _ = done(read(scene, job, {**STEEL, "readings": [400, 410, 420]}, STEEL))["readings"]
    path = f"/jobs/{job['id']}/paint-readings/{wrong['id']}/set-aside"
    aside = done(api.post(path, {"reason": "On a stone chip."}))
    assert aside["set_aside_at"]
    survey = done(api.get(f"/jobs/{job['id']}/paint"))
    assert [reading["set_aside_reason"] for reading in survey["readings"]] == [
        "On a stone chip.",
        "",
    ]
    assert survey["panels"][0]["highest_microns"] == 118
    entry = history(api, job)[-1]
    assert (entry["kind"], entry["reason"]) == ("paint_read", "On a stone chip.")
    problem = refused(api.post(path, {"reason": "Again."}), 409, "refused")
    assert problem["code"] == "set_aside"
    assert "On a stone chip." in problem["detail"]


def test_setting_aside_needs_a_reason_and_a_reading_of_this_job(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    (reading,) = done(read(scene, job, STEEL))["readings"]
    path = f"/jobs/{job['id']}/paint-readings"
    assert fields(api.post(f"{path}/{reading['id']}/set-aside", {})) == ["reason"]
    assert fields(api.post(f"{path}/{reading['id']}/set-aside", {"reason": " "})) == ["reason"]
    refused(api.post(f"{path}/{NOWHERE}/set-aside", {"reason": "Wrong."}), 404, "not-found")
    second_job = arrived(scene, dealer_ref="PX-2", registration="TU21 ABD")
    path = f"/jobs/{second_job['id']}/paint-readings/{reading['id']}/set-aside"
    refused(api.post(path, {"reason": "Wrong."}), 404, "not-found")


DARK = {"rubbed_with": "dark_cloth", "white_paint": True}
NOT_WHITE = {"white_paint": False}
FADED = {"faded": True}


@pytest.mark.parametrize(
    ("test", "system", "fade"),
    [
        ({"pad_colour": "paint"}, "single_stage", "none"),
        ({"pad_colour": "white", **NOT_WHITE}, "clear_over_base", "none"),
        ({"pad_colour": "nothing", **NOT_WHITE}, "clear_over_base", "none"),
        ({"pad_colour": "unsure"}, "unsure", "none"),
        ({"pad_colour": "white"}, "unsure", "none"),  # the order names no colour
        ({"pad_colour": "white", "white_paint": True}, "unsure", "none"),
        ({"pad_colour": "paint", **DARK}, "single_stage", "none"),
        ({"pad_colour": "nothing", **DARK}, "clear_over_base", "none"),
        (
            {"pad_colour": "paint", **FADED, "darkens_when_wet": True},
            "single_stage",
            "can_be_brought_back",
        ),
        (
            {"pad_colour": "white", **FADED, "darkens_when_wet": False, **NOT_WHITE},
            "clear_over_base",
            "cannot_be_polished_back",
        ),
        (
            {"pad_colour": "white", **FADED, "darkens_when_wet": True, "white_paint": True},
            "unsure",
            "unsure",
        ),
        ({"pad_colour": "paint", **FADED, "darkens_when_wet": None}, "single_stage", "unsure"),
        (
            {"pad_colour": "nothing", "look": "faded", **NOT_WHITE},
            "clear_over_base",
            "cannot_be_polished_back",
        ),
        (
            {"pad_colour": "nothing", "look": "dull", **NOT_WHITE},
            "clear_over_base",
            "often_polishes_up",
        ),
        ({"pad_colour": "nothing", "look": "peeling", **NOT_WHITE}, "clear_over_base", "peeling"),
    ],
)
def test_a_paint_test_says_at_once_what_it_means(
    scene: Scene, test: dict[str, Any], system: str, fade: str
) -> None:
    job, api = arrived(scene, colour=""), scene.workshop_api()
    answer = api.post(f"/jobs/{job['id']}/paint-tests", {"panel": "bonnet", **test})
    assert answer.status_code == 201
    made = answer.json()
    assert (made["system"], made["fade"]) == (system, fade)
    assert bool(made["why_unsure"]) == (system == "unsure")
    stays = fade in {"cannot_be_polished_back", "peeling"}
    assert ("cannot be polished back" in made["fade_words"]) == stays
    entry = history(api, job)[-1]
    assert entry["kind"] == "paint_read"
    assert entry["data"]["pad_colour"] == test["pad_colour"]


@pytest.mark.parametrize(
    ("colour", "system"), [("Arctic white", "unsure"), ("Moss green", "clear_over_base")]
)
def test_the_orders_colour_says_whether_the_paint_is_white(
    scene: Scene, colour: str, system: str
) -> None:
    job, api = arrived(scene, colour=colour), scene.workshop_api()
    path = f"/jobs/{job['id']}/paint-tests"
    made = done(api.post(path, {"panel": "bonnet", "pad_colour": "white"}))
    assert made["system"] == system
    assert ("dark cloth" in made["why_unsure"]) == (system == "unsure")


def test_a_test_of_before_there_were_looks_stays_readable(scene: Scene) -> None:
    job, api = arrived(scene, colour="Moss green"), scene.workshop_api()
    path = f"/jobs/{job['id']}/paint-tests"
    made = done(api.post(path, {"panel": "roof", "pad_colour": "white", "faded": True}))["test"]
    PaintTest.objects.filter(pk=made["id"]).update(look="", white_paint=None)
    survey = done(api.get(f"/jobs/{job['id']}/paint"))
    (roof,) = survey["panels"]
    assert (survey["tests"][0]["look"], survey["tests"][0]["faded"]) == ("", True)
    assert roof["fade"] == "cannot_be_polished_back"


@pytest.mark.parametrize(
    ("test", "wrong"),
    [
        ({"pad_colour": "white", "rubbed_with": "dark_cloth"}, ["pad_colour"]),
        ({"pad_colour": "paint", "faded": True, "look": "dull"}, ["look"]),
        ({"pad_colour": "paint", "faded": False, "look": "faded"}, ["look"]),
        (
            {"pad_colour": "paint", "look": "shabby", "rubbed_with": "thumb"},
            ["look", "rubbed_with"],
        ),
    ],
)
def test_a_test_that_contradicts_itself_is_refused(
    scene: Scene, test: dict[str, Any], wrong: list[str]
) -> None:
    job = arrived(scene)
    answer = scene.workshop_api().post(
        f"/jobs/{job['id']}/paint-tests", {"panel": "bonnet", **test}
    )
    assert sorted(fields(answer)) == wrong
    assert not PaintTest.objects.exists()


def test_tests_that_contradict_one_another_are_unsure(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    path = f"/jobs/{job['id']}/paint-tests"
    done(api.post(path, {"panel": "bonnet", "pad_colour": "white", "white_paint": False}))
    assert done(api.post(path, {"panel": "bonnet", "pad_colour": "paint"}))["system"] == "unsure"
    assert done(api.get(f"/jobs/{job['id']}/paint"))["system"] == "unsure"


def test_a_test_noted_wrongly_is_set_aside_and_says_nothing_more(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    path = f"/jobs/{job['id']}/paint-tests"
    done(api.post(path, {"panel": "bonnet", "pad_colour": "white", "white_paint": False}))
    wrong = done(api.post(path, {"panel": "roof", "pad_colour": "paint"}))["test"]
    aside = done(api.post(f"{path}/{wrong['id']}/set-aside", {"reason": "Wrong button."}))
    assert aside["set_aside_reason"] == "Wrong button."
    survey = done(api.get(f"/jobs/{job['id']}/paint"))
    assert survey["system"] == "clear_over_base"
    assert [panel["panel"] for panel in survey["panels"]] == ["bonnet"]
    assert len(survey["tests"]) == 2
    assert history(api, job)[-1]["kind"] == "paint_read"


def test_a_wrong_test_is_refused_with_every_field(scene: Scene) -> None:
    job = arrived(scene)
    body = {"panel": "engine_bay", "pad_colour": "green", "faded": "perhaps", "note": "x" * 201}
    answer = scene.workshop_api().post(f"/jobs/{job['id']}/paint-tests", body)
    assert sorted(fields(answer)) == ["faded", "note", "pad_colour", "panel"]


@pytest.mark.parametrize("what", ["paint-readings", "paint-tests", "paint-passes", "paint-films"])
def test_another_workshops_car_is_not_there(scene: Scene, what: str) -> None:
    job = arrived(scene)
    body = {
        "paint-readings": {"spots": [STEEL]},
        "paint-tests": {"panel": "bonnet", "pad_colour": "white"},
        "paint-films": {"film": "no"},
        "paint-passes": {"panel": "bonnet", "kind": "cut", "passes": 1, "reason": "So it is."},
    }[what]
    stranger = key_api(scene.stranger_workshop)
    theirs = refused(stranger.post(f"/jobs/{job['id']}/{what}", body), 404, "not-found")
    nobodys = refused(stranger.post(f"/jobs/{NOWHERE}/{what}", body), 404, "not-found")
    assert theirs["detail"] == nobodys["detail"]
