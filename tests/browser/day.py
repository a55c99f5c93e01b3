"""A working day that pages are looked at on: cars in every state, each by its nickname.

`tests.browser.founding_day` founds it for a running service; other tests make it where they are.
"""

from datetime import datetime, timedelta
from typing import Any

from accounts.auth import caller_for_person
from accounts.models import Person
from accounts.services import dealer_add, device_add, key_add, pin_set
from core.clock import now
from jobs.work.services.orders.imports import import_begin, import_keep
from tests.api.asking import asked, opened
from tests.api.found import found
from tests.api.pictures import upload
from tests.api.steps import detail, done, posted
from tests.browser.founding import painted
from tests.browser.past_weeks import past_weeks
from tests.scene import PASSWORD, Api, Scene, key_api, make_scene, person_api

PIN = "2580"
CARS: tuple[tuple[str, str, str, str, str, tuple[str, ...]], ...] = (
    ("car", "TU21 ABC", "Corvane", "Lynd 1.4", "Slate grey", ("retail_prep",)),
    ("ready_car", "JX19 KLM", "Veltrane", "Osk 1.0", "Moss green", ("wash_body", "vacuum")),
    ("held_car", "UB68 TRW", "Ombrix", "Sela 2.0", "White", ("mini_valet",)),
    ("curing_car", "TJ17 HND", "Halvik", "Dray", "Silver", ("wash_body", "coating")),
    ("coming_car", "UT70 FEN", "Corvane", "Tarrow 1.8", "Deep blue", ("full_valet",)),
    ("washed_car", "JT66 OAK", "Veltrane", "Hob", "Red", ("auction_prep",)),
    ("waiting_car", "UK14 MOW", "Halvik", "Moor 1.6", "Bronze", ("wash_body", "glass")),
    ("second_ready_car", "TY65 LUM", "Ombrix", "Sela 1.6", "Black", ("full_valet",)),
)


class Day:
    """The scene, its callers, and the cars by their nicknames."""

    def __init__(self) -> None:
        self.scene: Scene = make_scene()
        self.dealer: Api = key_api(self.scene.dealer)
        self.tam: Api = person_api(self.scene.valeter)
        self.milo: Api = person_api(self.scene.manager)
        self.places: dict[str, str] = {}
        self.cars: dict[str, Any] = {}

    def receive(self) -> None:
        """Receive every car, wanted back one after the other, and book in those that are here."""
        for index, (name, mark, make, model, colour, operations) in enumerate(CARS):
            due = now() + timedelta(hours=3 + 9 * index)
            self.cars[name] = posted(
                self.dealer,
                dealer_ref=f"PX-10{40 + index}",
                registration=mark,
                make=make,
                model=model,
                colour=colour,
                operations=list(operations),
                due_at=due.isoformat(),
                keys="Key safe, hook 12",
                location="Rear compound, bay 4",
                contact_name="Ines Okafor-Lind",
                cap_minutes=420,
                supplied=["Side marker lens"] if name == "car" else [],
                notes="Sold: the customer collects tomorrow at noon." if name == "car" else "",
            )
            self.places[name] = self.cars[name]["id"]
            if name != "coming_car":
                self.act(name, "arrival", hours_ago=5)
        asking = dealer_add(
            name="Larkholt Cars", workshop=self.scene.workshop, accepts_by_itself=False
        )
        asked = posted(key_api(asking.dealer), dealer_ref="Q-77", registration="TX22 NEW")
        self.places["asked_car"] = asked["id"]

    def act(
        self, name: str, what: str, *, hours_ago: float = 0.0, by: Api | None = None, **body: Any
    ) -> Any:
        """Do something about a car, as the valeter or as told, and return the answer."""
        moment: datetime = now() - timedelta(hours=hours_ago)
        path = f"/jobs/{self.cars[name]['id']}/{what}"
        return done((by or self.tam).post(path, {"occurred_at": moment.isoformat(), **body}))

    def move(self, name: str, to: str, *, hours_ago: float = 0.0) -> None:
        """Move a car on."""
        version = detail(self.tam, self.cars[name])["version"]
        self.act(name, "moves", hours_ago=hours_ago, to=to, version=version, confirm=True)

    def work(self, name: str, count: int, *, hours_ago: float, leave_running: bool = False) -> None:
        """Start and finish the first tasks that are wanted; the last may be left running."""
        wanted = [task for task in detail(self.tam, self.cars[name])["tasks"]
                  if task["state"] == "wanted"]  # fmt: skip
        for index, task in enumerate(wanted[:count]):
            begun = hours_ago - index * 0.4
            self.act(name, f"tasks/{task['id']}/start", hours_ago=begun)
            if not (leave_running and index == count - 1):
                self.act(name, f"tasks/{task['id']}/finish", hours_ago=max(begun - 0.35, 0))

    def photograph(self, name: str, moment: str, shade: int, **more: Any) -> Any:
        """Upload a drawing of a bonnet."""
        picture = painted((70 + shade, 82 + shade, 96 + shade))
        return done(upload(self.tam, self.cars[name], picture, moment=moment, **more))


def play(day: Day) -> None:
    """Bring each car to where its nickname says."""
    condition(day)
    for name in ("ready_car", "second_ready_car"):
        day.move(name, "cleaning", hours_ago=4)
        day.work(name, 2, hours_ago=4)
        day.move(name, "ready", hours_ago=1)
    day.move("held_car", "cleaning", hours_ago=3)
    day.act("held_car", "holds", hours_ago=2, cause="parts", reason="Wheel trim to come.")
    day.places["hold"] = detail(day.tam, day.cars["held_car"])["holds"][0]["id"]
    left_behind(day)
    day.move("curing_car", "cleaning", hours_ago=4)
    day.move("curing_car", "correction", hours_ago=3)
    day.work("curing_car", 2, hours_ago=2)
    day.move("curing_car", "curing", hours_ago=0.5)
    day.move("washed_car", "cleaning", hours_ago=1)
    day.work("washed_car", 2, hours_ago=0.8, leave_running=True)


def left_behind(day: Day) -> None:
    """Find something in the car on hold, and ask for work that the dealer asks about."""
    car = day.cars["held_car"]
    glasses = {"what": "item", "kept_at": "Key safe, tray 2"}
    left = found(day.tam, car, kind="belongings", weight="for_information", area="dashboard",
                 noticed="A pair of glasses.", belonging=glasses)  # fmt: skip
    day.places["belonging"] = left["belonging"]["id"]
    request = opened(day.milo, car, what="Treat the smell of smoke", hold=False)
    asked(day.dealer, request)
    day.places["asked_about"] = request["id"]


def condition(day: Day) -> None:
    """Note everything about the car that stands for all: in correction, with a request open."""
    front = {"view": "front"}
    day.photograph("car", "before", 0, **front)
    day.move("car", "cleaning", hours_ago=4.5)
    day.work("car", 6, hours_ago=4)
    day.move("car", "correction", hours_ago=1.5)
    day.photograph("car", "after", 60, **front)
    shot = day.photograph("car", "detail", 30, caption="Bird lime on the bonnet")
    car = day.cars["car"]
    day.places["finding"] = found(day.tam, car, photo_ids=[shot["id"]])["id"]
    found(day.tam, car, weight="for_information", kind="interior", area="carpets",
          noticed="A damp patch under the front passenger's mat.")  # fmt: skip
    spots = [
        {"panel": panel, "material": "steel", "readings": [base, base + 3, base - 2]}
        for panel, base in (("bonnet", 118), ("roof", 112), ("left_front_door", 264),
                            ("right_front_door", 121), ("left_front_wing", 115),
                            ("right_front_wing", 119), ("tailgate", 117))
    ]  # fmt: skip
    day.act("car", "paint-readings", spots=spots)
    request = opened(day.milo, car, photo_ids=[shot["id"]], price="64.00", hold=False)
    day.places["request"] = request["id"]
    done(day.dealer.patch(f"/work-orders/{car['id']}", {"notes": "Keys are with Ines."}))


def weather(day: Day) -> None:
    """Add readings of a warm workshop since the morning, one of the cold, and a forecast."""

    def at(hours: float) -> str:
        return (now() + timedelta(hours=hours)).isoformat(timespec="seconds")

    warm = {"celsius": 18.5, "humidity_percent": 56}
    cold = {"celsius": 3.5, "humidity_percent": 88, "place": "outside", "sensor": "Yard"}
    readings = [{**warm, "at": at(-hours - 0.1)} for hours in range(6, -1, -1)]
    hours = [
        {"at": at(hour), "celsius": 6 - hour / 6, "humidity_percent": 80,
         "rain_chance_percent": 70 if 3 < hour < 9 else 10}
        for hour in range(24)
    ]  # fmt: skip
    forecast = {"issued_at": at(-2), "hours": hours}
    sent = {"readings": [*readings, {**cold, "at": at(-3)}], "forecast": forecast}
    taken = done(day.tam.post("/workshop/climate", sent))
    assert (taken["taken"], taken["forecast"]["outcome"]) == (8, "taken"), taken


def clocks(day: Day) -> None:
    """Add two products, seats that ought to be dry by now, and minutes that nobody expects."""
    for name, operation in (("Larchmoor trim balm", "trim_dressing"), ("Fernlow coat", "coating")):
        known = {"operation": operation, "reference_minutes": 150, "sheet": "Sheet 4 of 2026"}
        day.places["product"] = done(day.milo.post("/products", {"name": name, **known}))["id"]
    day.act("car", "soiling", level=3)
    # The manager forgot the second: the valeter's minutes went to the clocks started later.
    work = (("wet_extraction", 4.9, 4.6, day.tam), ("glass", 4.8, 0.1, day.milo))
    for operation, begun, over, by in work:
        task = day.act("curing_car", "tasks", hours_ago=5, operation=operation)
        day.act("curing_car", f"tasks/{task['id']}/start", hours_ago=begun, by=by)
        day.act("curing_car", f"tasks/{task['id']}/finish", hours_ago=over, by=by)
    found = detail(day.tam, day.cars["curing_car"])["clocks"]
    day.places["wet_clock"] = next(clock["id"] for clock in found if clock["touch_test"])


def notices(day: Day) -> None:
    """Set up an endpoint that nobody answers, and somebody who gets e-mail."""
    endpoint = {"url": "http://127.0.0.1:9/hooks"}
    day.places["webhook"] = done(day.dealer.post("/webhook-endpoints", endpoint))["id"]
    recipient = {"email": "ines@brackmoor.example", "event_types": ["job.ready"]}
    day.places["email_recipient"] = done(day.dealer.post("/email-recipients", recipient))["id"]


def set_up(day: Day) -> None:
    """Name somebody, a tablet, a key and two accounts; for one of them nobody signs in."""
    workshop = day.scene.workshop
    day.places["person"] = str(day.scene.valeter.pk)
    day.places["account"] = str(day.scene.account.pk)
    day.places["unstaffed"] = str(dealer_add(name="Wexmoor Cars", workshop=workshop).pk)
    tablet = device_add(workshop=workshop, name="Wash bay", person=day.scene.owner)
    day.places["device"] = str(tablet.device.pk)
    key = key_add(organisation=day.scene.dealer, name="Stock system", scopes=["jobs.read"])
    day.places["key"] = key.key.prefix


def lists(day: Day) -> None:
    """Keep a list of cars that was sent as a file: one line taken in, two refused."""
    staff = caller_for_person(day.scene.staff)
    coming = day.places["coming_car"]
    lines = [{"registration": "UT70 FEN"}, {"dealer_ref": "PX-1090"}, {"registration": "UT70FEN"}]
    nothing = {"job_id": "", "reasons": [], "next_step": "", "existing": ""}
    answers = [
        {**nothing, "job_id": coming},
        {**nothing, "reasons": ["registration: Give the registration or the vin."]},
        {**nothing, "existing": coming},
    ]
    kept = import_begin(caller=staff, file_name="cars.csv", lines=lines)
    import_keep(kept=kept, answers=answers)
    day.places["import"] = str(kept.pk)


def found_day() -> Day:
    """Make the whole day and return it."""
    day = Day()
    set_up(day)
    past_weeks(day.scene)
    notices(day)
    day.receive()
    play(day)
    weather(day)
    clocks(day)
    lists(day)
    return day


def sign_ins(day: Day) -> dict[str, dict[str, str]]:
    """Give the workshop's people their PIN; return how each signs in, by role."""
    people: dict[str, Person] = {
        "owner": day.scene.owner,
        "manager": day.scene.manager,
        "valeter": day.scene.valeter,
        "staff": day.scene.staff,
    }
    for role in ("owner", "manager", "valeter"):
        pin_set(person=people[role], pin=PIN)
    return {
        role: {"email": person.email, "password": PASSWORD, "name": person.name}
        for role, person in people.items()
    }
