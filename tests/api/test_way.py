"""A car's whole way over the API."""

from tests.scene import Scene, order


def test_a_car_goes_from_work_order_to_collection(scene: Scene) -> None:
    dealer, workshop = scene.dealer_api(), scene.workshop_api()
    posted = dealer.post("/work-orders", order())
    assert posted.status_code == 201, posted.content
    job = posted.json()
    assert job["stage"] == "intake"
    assert job["decision"] == "accepted"
    assert job["version"] == 2
    path = f"/jobs/{job['id']}"
    assert workshop.post(f"{path}/arrival").json()["version"] == 3
    moved = workshop.post(f"{path}/moves", {"to": "cleaning", "version": 3})
    assert moved.status_code == 200, moved.content
    task = workshop.get(path).json()["tasks"][0]
    assert workshop.post(f"{path}/tasks/{task['id']}/start").status_code == 200
    assert workshop.post(f"{path}/tasks/{task['id']}/finish").json()["state"] == "finished"
    before = dealer.get("/ready")
    assert before.json() == {"cars": [], "cursor": 0, "more": False}
    assert (
        workshop.post(f"{path}/moves", {"to": "ready", "version": 4, "confirm": True}).status_code
        == 200
    )
    after = dealer.get("/ready", **{"If-None-Match": before.headers["ETag"]})
    assert [car["id"] for car in after.json()["cars"]] == [job["id"]]
    again = dealer.get("/ready", **{"If-None-Match": after.headers["ETag"]})
    assert again.status_code == 304
    assert workshop.post(f"{path}/collection", {"confirm": True}).status_code == 200
    assert dealer.get("/ready").json()["cars"] == []
    kinds = [entry["kind"] for entry in dealer.get(f"{path}/history").json()["entries"]]
    assert kinds == [
        "received",
        "accepted",
        "arrived",
        "moved",
        "task_started",
        "task_finished",
        "moved",
        "collected",
    ]
