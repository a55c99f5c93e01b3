"""The paint survey as a whole: its working, the allowance and machine passes, the picture."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from xml.etree import ElementTree as ET

import pytest
import time_machine

from jobs.work.services import paint as service
from tests.api.steps import NOWHERE, arrived, done, fields, history, refused, told
from tests.scene import Api, Scene, key_api, person_api

pytestmark = pytest.mark.django_db

# The example of NIST/SEMATECH handbook 1.3.5.17 (from memory): see tests/calc.
CAR = {
    "bonnet": 112,
    "roof": 118,
    "tailgate": 121,
    "left_front_wing": 109,
    "right_front_wing": 115,
    "left_front_door": 117,
    "right_front_door": 113,
    "left_rear_door": 240,
    "right_rear_door": 119,
    "left_quarter_panel": 116,
}


def measured(scene: Scene, car: Mapping[str, float] | None = None, **changes: Any) -> Any:
    """Bring a car in, measure it, and return the job."""
    job = arrived(scene, **changes)
    spots = [
        {"panel": panel, "material": "steel", "readings": [value - 1, value, value + 1]}
        for panel, value in (car or CAR).items()
    ]
    done(scene.workshop_api().post(f"/jobs/{job['id']}/paint-readings", {"spots": spots}))
    return job


def survey_of(api: Api, job: Any) -> Any:
    return done(api.get(f"/jobs/{job['id']}/paint"))


def panel_of(survey: Any, code: str) -> Any:
    return next(panel for panel in survey["panels"] if panel["panel"] == code)


def machine(scene: Scene, job: Any, kind: str = "cut", passes: int = 1, **more: Any) -> Any:
    body = {"panel": "bonnet", "kind": kind, "passes": passes, **more}
    return scene.workshop_api().post(f"/jobs/{job['id']}/paint-passes", body)


def test_the_survey_shows_its_working(scene: Scene) -> None:
    survey = survey_of(scene.workshop_api(), measured(scene))
    first, last = survey["baselines"]
    assert [(baseline["material"], baseline["counts"]) for baseline in (first, last)] == [
        ("steel", False),
        ("steel", True),
    ]
    (steel,) = survey["comparisons"]
    assert (steel["panels"], steel["unclassed_because"], steel["usual_microns"]) == (
        10,
        "none",
        116,
    )
    assert (first["median_microns"], first["mad_microns"]) == (116.5, 3)
    assert (len(first["panels"]), len(last["panels"])) == (10, 9)
    door = panel_of(survey, "left_rear_door")
    assert door["modified_z"] == pytest.approx(27.7669, abs=5e-5)
    assert door["film_class"] == "built_up"
    assert door["film_class_words"] == "thicker than the rest"
    assert door["reasons"]
    assert door["difference_microns"] == 124
    classes = {panel["film_class"] for panel in survey["panels"] if panel is not door}
    assert classes == {"as_made"}
    assert survey["can_tell"] is True
    assert {"left": "left_rear_door", "right": "right_rear_door"}.items() <= next(
        twin for twin in survey["twins"] if not twin["alike"]
    ).items()
    assert "thickness alone never proves an accident" in survey["cautions"][0]
    assert any("vibration" in caution for caution in survey["cautions"])


def test_with_four_panels_it_cannot_tell_and_says_so(scene: Scene) -> None:
    few = dict(list(CAR.items())[:3]) | {"left_rear_door": 300}
    survey = survey_of(scene.workshop_api(), measured(scene, few))
    assert survey["can_tell"] is False
    assert {panel["film_class"] for panel in survey["panels"]} == {"cannot_tell"}
    assert survey["baselines"] == []
    assert survey["offered_findings"] == []
    assert any("cannot tell" in caution for caution in survey["cautions"])


def test_before_any_reading_the_survey_is_empty(scene: Scene) -> None:
    survey = survey_of(scene.workshop_api(), arrived(scene))
    assert survey["panels"] == survey["readings"] == survey["twins"] == []
    assert survey["system"] == "unsure"


def test_a_finding_is_offered_to_the_workshop_and_sent_only_by_a_person(scene: Scene) -> None:
    job, api = measured(scene), scene.workshop_api()
    assert "finding.reported" not in [kind for kind, _ in told(job)]
    (offer,) = survey_of(api, job)["offered_findings"]
    assert (offer["kind"], offer["area"]) == ("provenance", "left_rear_door")
    assert offer["weight"] in {"before_sale", "for_information"}
    assert survey_of(scene.dealer_api(), job)["offered_findings"] == []
    sent = api.post(f"/jobs/{job['id']}/findings", offer)
    assert sent.status_code == 201, sent.content
    assert "finding.reported" in [kind for kind, _ in told(job)]
    assert survey_of(api, job)["offered_findings"] == []  # it was sent


TWO_METALS = [
    *(("steel", panel, 110) for panel in list(CAR)[:7]),
    *(("aluminium", panel, 149) for panel in list(CAR)[7:]),
    ("aluminium", "right_quarter_panel", 149),
    ("aluminium", "left_sill", 149),
    ("aluminium", "right_sill", 149),
]


def test_steel_and_aluminium_are_compared_each_with_itself(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    spots = [
        {"panel": panel, "material": metal, "readings": [microns] * 3}
        for metal, panel, microns in TWO_METALS
    ]
    done(api.post(f"/jobs/{job['id']}/paint-readings", {"spots": spots}))
    survey = survey_of(api, job)
    assert {panel["film_class"] for panel in survey["panels"]} == {"as_made", "cannot_tell"}
    assert survey["offered_findings"] == []
    steel, aluminium = survey["comparisons"]
    assert (steel["material"], steel["unclassed_because"]) == ("steel", "none")
    assert (aluminium["material"], aluminium["unclassed_because"]) == (
        "aluminium",
        "outside_series",
    )
    assert aluminium["caveats"][0] in survey["cautions"]


def test_two_groups_of_panels_are_said_instead_of_classes(scene: Scene) -> None:
    car = dict(zip(CAR, (100, 100, 200, 200, 200), strict=False))
    survey = survey_of(scene.workshop_api(), measured(scene, car))
    assert {panel["film_class"] for panel in survey["panels"]} == {"cannot_tell"}
    (steel,) = survey["comparisons"]
    assert steel["unclassed_because"] == "two_groups"
    assert steel["groups"] == {
        "thinner": ["bonnet", "roof"],
        "thicker": ["left_front_wing", "right_front_wing", "tailgate"],
        "thinner_microns": 100,
        "thicker_microns": 200,
    }
    assert "form two groups" in steel["caveats"][0]
    assert survey["offered_findings"] == []


def test_the_dealer_sees_the_survey_and_strangers_do_not(scene: Scene) -> None:
    job = measured(scene)
    for api in (scene.dealer_api(), person_api(scene.valeter), person_api(scene.staff)):
        assert len(survey_of(api, job)["panels"]) == 10
    for organisation in (scene.stranger_dealer, scene.stranger_workshop):
        stranger = key_api(organisation)
        for what in ("paint", "paint.svg"):
            theirs = refused(stranger.get(f"/jobs/{job['id']}/{what}"), 404, "not-found")
            nobodys = refused(stranger.get(f"/jobs/{NOWHERE}/{what}"), 404, "not-found")
            assert theirs["detail"] == nobodys["detail"]


@pytest.mark.parametrize("what", ["paint", "paint.svg"])
def test_the_survey_takes_as_many_queries_for_many_readings_as_for_few(
    scene: Scene, django_assert_num_queries: Any, what: str
) -> None:
    few = measured(scene, {"bonnet": 112})
    many = measured(scene, dealer_ref="PX-2", registration="TU21 ABD")
    done(machine(scene, many))
    api = scene.workshop_api()
    survey_of(api, few)  # the first use of a key in a while is written down
    for job in (few, many):
        # The key; the job; readings, tests, passes, film checks, and what was reported.
        with django_assert_num_queries(7):
            assert api.get(f"/jobs/{job['id']}/{what}").status_code == 200


def test_pads_and_compound_are_told_for_the_whole_vehicle(scene: Scene) -> None:
    job, api = arrived(scene, body_size="small_van"), scene.workshop_api()
    test = {"panel": "bonnet", "pad_colour": "paint", "white_paint": False}
    done(api.post(f"/jobs/{job['id']}/paint-tests", test))
    supplies = survey_of(api, job)["supplies"]
    assert supplies["body_size"] == "small_van"
    assert 9 <= supplies["pads"] <= 11  # about ten: common practice, no source
    assert supplies["compound_millilitres"] > 0
    assert "no source" in supplies["note"]


def test_a_panel_only_tested_is_shown_as_not_measured(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    faded = {"panel": "roof", "pad_colour": "white", "faded": True, "white_paint": False}
    done(api.post(f"/jobs/{job['id']}/paint-tests", faded))
    (roof,) = survey_of(api, job)["panels"]
    assert roof["film_class"] == "not_measured"
    assert roof["allowance"] is None
    assert "cannot be polished back" in roof["fade_words"]


def test_passes_within_the_allowance_are_recorded_and_it_goes_down(scene: Scene) -> None:
    job = measured(scene)
    before = panel_of(survey_of(scene.workshop_api(), job), "bonnet")["allowance"]
    assert before["conservative"] == {"microns": 10, "cut_passes": 2, "finish_passes": 10}
    assert before["hopeful"]["cut_passes"] > 2
    assert "cannot tell the layers apart" in before["assumption"]
    made = done(machine(scene, job))
    assert (made["done"]["warning"], made["done"]["reason"]) == ("", "")
    assert made["allowance"]["conservative"]["cut_passes"] == 1
    assert "vibration" in made["cautions"][0]
    after = panel_of(survey_of(scene.workshop_api(), job), "bonnet")
    assert after["passes_done"] == {"cut": 1, "finish": 0}
    assert after["allowance"]["conservative"]["microns"] == 6
    entry = history(scene.workshop_api(), job)[-1]
    assert entry["kind"] == "passes_done"
    assert (entry["data"]["panel"], entry["data"]["passes"]) == ("bonnet", 1)


def test_a_reading_after_the_passes_shows_what_is_left(scene: Scene) -> None:
    job, api = measured(scene, {**CAR, "bonnet": 85}), scene.workshop_api()
    done(machine(scene, job))
    left = panel_of(survey_of(api, job), "bonnet")["allowance"]["conservative"]
    # With the gauge 3.55 too high, 6.45 are above the floor, of which a pass may have taken 4.
    assert left["microns"] == pytest.approx(2.45, abs=0.06)
    (before,) = [
        reading for reading in survey_of(api, job)["readings"] if reading["panel"] == "bonnet"
    ]
    path = f"/jobs/{job['id']}/paint-readings"
    done(api.post(f"{path}/{before['id']}/set-aside", {"reason": "Machined since."}))
    spot = {"panel": "bonnet", "material": "steel", "readings": [84, 84, 84]}
    done(api.post(path, {"spots": [spot]}))
    left = panel_of(survey_of(api, job), "bonnet")["allowance"]["conservative"]
    assert left["microns"] == pytest.approx(5.5, abs=0.1)  # the pass took 1


def test_passes_beyond_the_allowance_ask_for_a_reason_and_are_then_recorded(scene: Scene) -> None:
    job = measured(scene)
    problem = refused(machine(scene, job, passes=3), 409, "refused")
    assert problem["code"] == "reason_needed"
    assert "allows 2 more cutting passes" in problem["warning"]
    assert problem["allowance"]["conservative"]["cut_passes"] == 2
    assert problem["allowance"]["assumption"]
    assert problem["current"]["id"] == job["id"]
    assert survey_of(scene.workshop_api(), job)["passes"] == []
    made = done(machine(scene, job, passes=3, reason="The dealer knows and wants it."))
    assert made["done"]["warning"] == problem["warning"]
    assert made["done"]["reason"] == "The dealer knows and wants it."
    assert made["allowance"]["conservative"]["microns"] == 0
    entry = history(scene.workshop_api(), job)[-1]
    assert entry["reason"] == "The dealer knows and wants it."
    assert entry["data"]["warning"] == problem["warning"]
    refused(machine(scene, job, "finish"), 409, "refused")


def test_passes_noted_wrongly_are_set_aside_and_the_allowance_is_back(scene: Scene) -> None:
    job, api = measured(scene), scene.workshop_api()
    wrong = done(machine(scene, job, passes=2))["done"]
    path = f"/jobs/{job['id']}/paint-passes/{wrong['id']}/set-aside"
    done(api.post(path, {"reason": "These were on the roof."}))
    survey = survey_of(api, job)
    bonnet = panel_of(survey, "bonnet")
    assert bonnet["passes_done"] == {"cut": 0, "finish": 0}
    assert bonnet["allowance"]["conservative"]["cut_passes"] == 2
    assert survey["passes"][0]["set_aside_reason"] == "These were on the roof."
    entry = history(api, job)[-1]
    assert (entry["kind"], entry["reason"]) == ("passes_done", "These were on the roof.")
    refused(api.post(path, {"reason": "Again."}), 409, "refused")


def test_passes_without_a_reading_ask_for_a_reason(scene: Scene) -> None:
    job = arrived(scene)
    problem = refused(machine(scene, job, "finish"), 409, "refused")
    assert "no reading of the bonnet" in problem["detail"]
    assert problem["allowance"] is None
    made = done(machine(scene, job, "finish", reason="The gauge is away for repair."))
    assert made["allowance"] is None
    (bonnet,) = survey_of(scene.workshop_api(), job)["panels"]
    assert bonnet["passes_done"] == {"cut": 0, "finish": 1}


def film(scene: Scene, job: Any, answer: str, **more: Any) -> Any:
    return scene.workshop_api().post(f"/jobs/{job['id']}/paint-films", {"film": answer, **more})


def test_a_thick_panel_asks_for_a_film_before_anything(scene: Scene) -> None:
    job, api = measured(scene), scene.workshop_api()
    door = panel_of(survey_of(api, job), "left_rear_door")
    assert (door["film"], door["allowance"]) == ("not_asked", None)
    assert "check for a film first" in door["no_allowance_because"]
    thick: dict[str, Any] = {"panel": "left_rear_door"}
    assert (
        "check for a film first" in refused(machine(scene, job, **thick), 409, "refused")["detail"]
    )
    (offer,) = survey_of(api, job)["offered_findings"]
    assert offer["advice"].startswith("Film, wrap or repaint: check for a film first.")
    made = done(film(scene, job, "no", note="No edge in the shuts."))
    assert (made["check"]["panel"], made["film"]) == ("whole_vehicle", "no")
    survey = survey_of(api, job)
    door = panel_of(survey, "left_rear_door")
    assert (survey["film"], door["film"], door["no_allowance_because"]) == ("no", "no", "")
    assert door["allowance"]["conservative"]["cut_passes"] == 2
    (offer,) = survey["offered_findings"]
    assert offer["advice"].startswith("No film or wrap on it")
    done(machine(scene, job, **thick))


def test_a_panel_with_a_film_has_no_allowance_and_is_not_offered(scene: Scene) -> None:
    job, api = measured(scene), scene.workshop_api()
    done(film(scene, job, "no"))
    done(film(scene, job, "yes", panel="left_rear_door"))
    survey = survey_of(api, job)
    door = panel_of(survey, "left_rear_door")
    assert (survey["film"], door["film"], door["film_class"]) == ("no", "yes", "film_on_it")
    assert survey["offered_findings"] == []
    problem = refused(machine(scene, job, panel="left_rear_door"), 409, "refused")
    assert "A film or wrap lies on the left rear or sliding door" in problem["detail"]
    assert [check["film"] for check in survey["film_checks"]] == ["no", "yes"]
    done(film(scene, job, "not_asked", panel="left_rear_door"))
    assert panel_of(survey_of(api, job), "left_rear_door")["film"] == "no"


def test_the_latest_answer_about_a_film_counts_whenever_it_comes_in(scene: Scene) -> None:
    job, api = measured(scene), scene.workshop_api()
    start = datetime.fromisoformat(history(api, job)[-1]["occurred_at"])
    later, before = start + timedelta(seconds=2), start + timedelta(seconds=1)
    with time_machine.travel(start + timedelta(minutes=5)):
        done(film(scene, job, "yes", occurred_at=later.isoformat()))
        done(film(scene, job, "no", occurred_at=before.isoformat()))
        assert survey_of(api, job)["film"] == "yes"
        entry = history(api, job)[-1]
    assert (entry["kind"], entry["data"]["film"]) == ("paint_read", "no")


def test_a_wrong_film_check_is_refused_with_every_field(scene: Scene) -> None:
    job = measured(scene)
    answer = film(scene, job, "perhaps", panel="windscreen", note="x" * 201)
    assert sorted(fields(answer)) == ["film", "note", "panel"]
    assert fields(film(scene, job, "")) == ["film"]
    assert survey_of(scene.workshop_api(), job)["film_checks"] == []


def test_a_job_takes_only_so_many_film_checks(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "MOST_FILM_CHECKS", 1)
    job = measured(scene)
    done(film(scene, job, "no"))
    assert refused(film(scene, job, "yes"), 409, "refused")["code"] == "too_many"


def test_a_thin_panel_gets_no_credit_for_its_layers(scene: Scene) -> None:
    job = measured(scene, {**dict.fromkeys(CAR, 125), "bonnet": 88})
    bonnet = panel_of(survey_of(scene.workshop_api(), job), "bonnet")
    assert bonnet["film_class"] == "thin"
    assert bonnet["allowance"]["conservative"]["finish_passes"] == 0
    assert "thin beside the rest" in bonnet["allowance"]["assumption"]


def test_a_plastic_panel_has_no_reading_to_go_by(scene: Scene) -> None:
    job, api = arrived(scene), scene.workshop_api()
    spot = {"panel": "bonnet", "material": "plastic"}
    done(api.post(f"/jobs/{job['id']}/paint-readings", {"spots": [spot]}))
    assert refused(machine(scene, job), 409, "refused")["code"] == "reason_needed"


def test_the_same_key_records_passes_once(scene: Scene) -> None:
    job, api = measured(scene), scene.workshop_api()
    body = {"panel": "bonnet", "kind": "cut", "passes": 1}
    path, key = f"/jobs/{job['id']}/paint-passes", {"Idempotency-Key": "passes-1"}
    assert api.post(path, body, key).json() == api.post(path, body, key).json()
    assert len(survey_of(api, job)["passes"]) == 1


def test_wrong_passes_are_refused_with_every_field(scene: Scene) -> None:
    job = measured(scene)
    body = {"panel": "left_fin", "kind": "sand", "passes": 0, "reason": "x" * 501}
    answer = scene.workshop_api().post(f"/jobs/{job['id']}/paint-passes", body)
    assert sorted(fields(answer)) == ["kind", "panel", "passes", "reason"]
    assert fields(machine(scene, job, passes=21)) == ["passes"]


def test_the_picture_is_a_safe_svg_with_the_readings(scene: Scene) -> None:
    job = measured(scene)
    answer = scene.dealer_api().get(f"/jobs/{job['id']}/paint.svg", Accept="image/svg+xml")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "image/svg+xml"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Security-Policy"] == "default-src 'none'"
    root = ET.fromstring(answer.content)  # noqa: S314  our own output
    text = "".join(root.itertext())
    assert "TU21 ABC" in text
    assert "left rear or sliding door: 240, thicker than the rest" in text
    assert "check for a film first" in text


def test_an_unchanged_picture_is_not_sent_again(scene: Scene) -> None:
    job, api = measured(scene), scene.dealer_api()
    etag = api.get(f"/jobs/{job['id']}/paint.svg").headers["ETag"]
    path = f"/jobs/{job['id']}/paint.svg"
    assert api.call("GET", path, headers={"If-None-Match": etag}).status_code == 304
