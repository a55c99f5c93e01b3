"""What pages, calls and sweeps read when there is much history: blocks of PostgreSQL, not time.

`python -m tests.bench.history [CARS…]` fills a database of its own with so many cars, most of them
collected long ago and all of them whole (tasks, spells, clocks, holds, findings, history), at
thirty workshops; ours has the same sixty cars open at every size. Then each route and each sweep is
called once, and every statement it makes is explained: how many blocks it read, and whether it read
a table from end to end that grows with history.
"""

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from typing import Any

SIZES = (40_000, 400_000)
WORKSHOPS = 30
OPEN = 60  # at ours; so many at each of the others as well
# Each clone of a car came so long before the one before it.
MINUTES_APART = 3
# What may be more at the larger size, for the same number of cars on the page.
MOST_RATIO = 1.5
# A table this small is read whole, and best so.
SMALL_ROWS = 5_000


@dataclass(slots=True)
class Read:
    """What one call read."""

    blocks: int = 0
    statements: int = 0
    whole_tables: set[str] = field(default_factory=set)


def explained(read: Read) -> Callable[..., Any]:
    """Return a wrapper for statements that adds what each of them reads."""

    def explain(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:  # noqa: FBT001  Django's signature
        if sql.lstrip().upper().startswith(("SELECT", "WITH")) and not many:
            cursor = context["cursor"]
            cursor.execute.__self__.cursor.execute(
                f"EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) {sql}", params
            )
            ((plan,),) = cursor.cursor.fetchone()
            read.blocks += blocks_of(plan["Plan"])
            read.statements += 1
            read.whole_tables |= set(whole_tables(plan["Plan"]))
        return execute(sql, params, many, context)

    return explain


def blocks_of(plan: dict[str, Any]) -> int:
    """Return the blocks that a plan touched, in memory or not; a node's has its children's."""
    return int(plan["Shared Hit Blocks"]) + int(plan["Shared Read Blocks"])


def whole_tables(plan: dict[str, Any]) -> Iterator[str]:
    """Yield the tables that a plan reads from end to end."""
    if plan["Node Type"] == "Seq Scan":
        yield plan["Relation Name"]
    for part in plan.get("Plans", ()):
        yield from whole_tables(part)


def set_up() -> None:
    """Make the bench's own database afresh, and point the settings at it."""
    from tests.bench.database import make_fresh  # noqa: PLC0415
    from tests.servers import postgres_url  # noqa: PLC0415

    server = postgres_url()
    if server is None:
        sys.stderr.write("The blocks are PostgreSQL's: it must answer at its standard port.\n")
        sys.exit(2)
    os.environ.update(
        DJANGO_SETTINGS_MODULE="tests.bench.settings",
        DATABASE_URL=make_fresh(server),
        SHUTLINE_LOG_LEVEL="ERROR",
    )
    import django  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415

    django.setup()
    from django.test.utils import setup_test_environment  # noqa: PLC0415

    setup_test_environment()
    call_command("migrate", verbosity=0)


@dataclass(frozen=True, slots=True)
class Place:
    """Who calls, and the cars of theirs that addresses name."""

    scene: Any
    cars: dict[str, str]


def furnish() -> tuple[Place, dict[str, Any]]:
    """Make the people, and a car of each kind that the others are copied from."""
    import time_machine  # noqa: PLC0415

    from core.clock import now  # noqa: PLC0415
    from jobs.work.models import Job  # noqa: PLC0415
    from tests.api.clock_steps import in_curing  # noqa: PLC0415
    from tests.api.found import STOP, found  # noqa: PLC0415
    from tests.api.steps import arrived, done, moved, posted, ready  # noqa: PLC0415
    from tests.scene import make_scene  # noqa: PLC0415

    def named(letter: str) -> dict[str, str]:
        return {"dealer_ref": f"PX-{letter}", "registration": f"TU21 AB{letter}"}

    scene = make_scene()
    shop = scene.workshop_api()
    cleaning = moved(shop, arrived(scene, **named("B")), "cleaning")
    (task, *_) = done(shop.get(f"/jobs/{cleaning['id']}"))["tasks"]
    done(shop.post(f"/jobs/{cleaning['id']}/tasks/{task['id']}/start"))
    found(shop, cleaning, STOP)
    with time_machine.travel(now() - timedelta(days=3)):
        gone = in_curing(scene, "trim_dressing", **named("C"))
        done(shop.post(f"/jobs/{gone['id']}/holds", {"cause": "parts"}))
        (hold,) = done(shop.get(f"/jobs/{gone['id']}"))["holds"]
        done(shop.post(f"/jobs/{gone['id']}/holds/{hold['id']}/release"))
    with time_machine.travel(now() - timedelta(days=2)):
        gone = moved(shop, done(shop.get(f"/jobs/{gone['id']}")), "ready")
        done(shop.post(f"/jobs/{gone['id']}/collection", {"reason": "Taken.", "confirm": True}))
    kinds = {
        "gone": gone,
        "cleaning": cleaning,
        "curing": in_curing(scene, "trim_dressing", **named("D")),
        "ready": ready(scene, **named("E")),
        "posted": posted(scene.dealer_api(), **named("F")),
    }
    cars = {kind: Job.objects.get(pk=car["id"]) for kind, car in kinds.items()}
    return Place(scene, {kind: str(car["id"]) for kind, car in kinds.items()}), cars


def fill(cars: dict[str, Any], place: Place, *, size: int, before: int) -> None:
    """Copy the car that is gone until there are so many; the others only the first time."""
    from django.db import connection  # noqa: PLC0415

    from accounts.models import Organisation  # noqa: PLC0415
    from tests.bench.cloning import clone  # noqa: PLC0415

    scene = place.scene
    if not before:
        strangers = [
            Organisation.objects.create(name=f"Otterslade {number}", kind=kind)
            for number in range(1, WORKSHOPS)
            for kind in ("workshop", "dealer")
        ]
    else:
        strangers = list(Organisation.objects.filter(name__startswith="Otterslade ").order_by("pk"))
    shops = [shop.pk for shop in strangers if shop.kind == "workshop"]
    dealers = [dealer.pk for dealer in strangers if dealer.kind == "dealer"]
    pairs = [(scene.workshop.pk, scene.dealer.pk), *zip(shops, dealers, strict=False)]
    if not before:
        kinds = [car for kind, car in cars.items() if kind != "gone"]
        for car in kinds:
            each = OPEN // len(kinds) * len(pairs)
            clone(car, range(1, each + 1), minutes_apart=1, pairs=pairs)
    clone(cars["gone"], range(before + 1, size + 1), minutes_apart=MINUTES_APART, pairs=pairs)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def routes(place: Place) -> Iterator[tuple[str, Callable[[], Any]]]:
    """Yield what is called: pages, calls and sweeps, each with its name."""
    from jobs.work import tasks  # noqa: PLC0415
    from notifications.tasks import review_endpoints  # noqa: PLC0415
    from tests.scene import person_api  # noqa: PLC0415

    car = place.cars["cleaning"]
    scene = place.scene
    owner, valeter = person_api(scene.owner).client, person_api(scene.valeter).client
    staff = person_api(scene.staff).client
    for client, addresses in {
        owner: (
            *("/desk/", "/desk/cars", "/desk/over", "/desk/waiting", "/desk/due", "/desk/log"),
            *(
                "/desk/climate",
                "/desk/durations",
                f"/desk/cars/{car}",
                f"/desk/cars/{car}/estimate",
            ),
        ),
        valeter: ("/tablet/", f"/tablet/cars/{car}"),
        staff: ("/dashboard/", "/dashboard/board", f"/dashboard/cars/{car}"),
    }.items():
        for address in addresses:
            name = address.replace(car, "…")
            yield name, partial(client.get, address)
    dealer, shop = scene.dealer_api(), scene.workshop_api()
    for caller, side, paths in (
        (
            dealer,
            "dealer",
            ("/ready", "/jobs", "/jobs?open=true", "/jobs?dealer_ref=PX-77", "/events"),
        ),
        (shop, "workshop", ("/jobs", "/jobs?open=true", f"/jobs/{car}", f"/jobs/{car}/history")),
        (shop, "workshop", (f"/jobs/{car}/waits", "/workshop/climate", "/workshop/durations")),
    ):
        for path in paths:
            name = f"{path.replace(car, '…')} ({side})"
            yield name, partial(caller.get, path)
    for task in (
        *(tasks.settle_clocks, tasks.lapse_requests, tasks.fill_flow, tasks.take_orders),
        review_endpoints,
    ):
        yield f"sweep {task.name.rpartition('.')[2]}", task


@contextmanager
def reading() -> Iterator[Read]:
    """Count what is read within."""
    from django.db import connection  # noqa: PLC0415

    read = Read()
    with connection.execute_wrapper(explained(read)):
        yield read


def measure(place: Place) -> dict[str, Read]:
    """Return what each call reads the second time: what is read once a process is not counted."""
    found, small = {}, small_tables()
    for name, call in routes(place):
        call()
        with reading() as read:
            answer = call()
        status = getattr(answer, "status_code", 200)
        if status != 200:
            raise SystemExit(f"{name} answered {status}: {answer.content[:300]!r}")
        read.whole_tables -= small
        found[name] = read
    return found


def small_tables() -> set[str]:
    """Return the tables that have few rows."""
    from django.db import connection  # noqa: PLC0415

    with connection.cursor() as cursor:
        cursor.execute("SELECT relname FROM pg_class WHERE reltuples < %s", [SMALL_ROWS])
        return {name for (name,) in cursor.fetchall()}


def main(sizes: Sequence[int]) -> int:
    """Print what each call reads at each size; return 1 where one grows more than it may."""
    set_up()
    place, cars = furnish()
    found, before = [], 0
    for size in sizes:
        fill(cars, place, size=size, before=before)
        found.append(measure(place))
        before = size
    worst = False
    heads = " | ".join(f"{size:,} cars" for size in sizes)
    print(f"| call | statements | {heads} | ratio | tables read whole |")  # noqa: T201
    print("| --- " * (len(sizes) + 4) + "|")  # noqa: T201
    for name in found[0]:
        blocks = [read[name].blocks for read in found]
        ratio = blocks[-1] / max(blocks[0], 1)
        whole = ", ".join(sorted(found[-1][name].whole_tables)) or "none"
        worst = worst or ratio > MOST_RATIO or whole != "none"
        counts = " | ".join(f"{count:,}" for count in blocks)
        print(f"| {name} | {found[-1][name].statements} | {counts} | {ratio:.2f} | {whole} |")  # noqa: T201
    return int(worst)


if __name__ == "__main__":
    sys.exit(main([int(size) for size in sys.argv[1:]] or SIZES))
