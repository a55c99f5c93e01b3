"""A polled page is called unchanged only while it would be the same, made anew at that moment."""

import random
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial
from threading import Barrier
from typing import Any
from uuid import UUID

import pytest
import time_machine
from django.apps import apps
from django.contrib.messages.constants import INFO
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.sessions.models import Session
from django.db import connection, transaction
from django.db.models import F
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext

from accounts import pages_version
from accounts.api.throttling import COUNTER
from accounts.auth import DEVICE_COOKIE
from accounts.caller import Caller, Side
from accounts.models import Organisation, PagesVersion, Person
from accounts.pages import polls
from accounts.pages_version import shown_tables, triggers_make, triggers_missing
from accounts.selectors import pages_version_of
from accounts.services import device_add, device_revoke, pin_set
from core.clock import next_change, now
from jobs.work.models import DashboardLook, Finding, HistoryEntry, Job, Photo, WaitClock
from tests.api.clock_steps import in_curing, measured
from tests.api.found import STOP, found
from tests.api.steps import arrived, at_once, detail, done, moved, posted, ready
from tests.api.test_callers import (
    BODIES,
    PEOPLE,
    ROWS,
    call,
    callers_of,
    expected,
    kinds,
    side_of,
    sign,
)
from tests.api.world import World
from tests.browser.day import found_day
from tests.patience import PATIENCE_SECONDS
from tests.scene import Api, Scene, again, make_scene, person_api

NIGHT = datetime(2027, 3, 4, 20, 30, 7, tzinfo=UTC)  # in London, a Thursday
MINUTE = timedelta(minutes=1)
GAPS = (5, 60, 60, 300)  # the longest in seconds between two looks
POLLS = {"owner": "/desk/cars", "valeter": "/tablet/", "staff": "/dashboard/board"}
# Who looks, and what every poll asks first: the tag says all that is shown of them.
BY_THE_TAG = {"django_session", "accounts_pagesversion"}
WALK_ROUND = "POST /api/v1/jobs/{job_id}/walk-rounds"
MADE = re.compile(rb'<meta name="made" content="[^"]*">')
pytestmark = pytest.mark.django_db


def lookers(scene: Scene) -> dict[str, Client]:
    """Return a browser of each who polls."""
    return {who: person_api(getattr(scene, who)).client for who in POLLS}


def made(client: Client, who: str) -> tuple[str, bytes]:
    """Return the tag and the body of a poll, without what moves with each answer."""
    answer = client.get(POLLS[who])
    assert answer.status_code == 200, answer.content[:300]
    return answer.headers["ETag"], MADE.sub(b"", answer.content)


def polled(client: Client, who: str, tag: str) -> Any:
    """Return the answer to a poll by somebody who has the page."""
    return client.get(POLLS[who], headers={"If-None-Match": tag})


def is_unchanged(client: Client, who: str, tag: str) -> bool:
    """Return whether a poll is answered 304."""
    answer = polled(client, who, tag)
    assert answer.status_code in {200, 304}
    return bool(answer.status_code == 304)


def busy_shop(scene: Scene) -> None:
    """Have cars late, worked on, curing, drying, halted, held, not to be driven, and to answer."""
    shop, dealer = scene.workshop_api(), scene.dealer_api()
    tam = person_api(scene.valeter)
    soon = [now() + timedelta(minutes=minutes) for minutes in (-30, 4, 50, 60 * 7, 60 * 30)]
    for number, due_at in enumerate(soon):
        names = {"dealer_ref": f"PX-{number}", "registration": f"TU21 AB{chr(65 + number)}"}
        job = moved(shop, arrived(scene, due_at=due_at.isoformat(), **names), "cleaning")
        (task, *_) = detail(shop, job)["tasks"]
        if number in {1, 2}:
            done(tam.post(f"/jobs/{job['id']}/tasks/{task['id']}/start"))
        if number == 3:
            done(shop.post(f"/jobs/{job['id']}/holds", {"cause": "parts"}))
        if number == 4:
            found(shop, job, STOP)
    measured(scene, (now(), 18.0), humidity=55.0)
    in_curing(scene, "trim_dressing", dealer_ref="PX-7", registration="TU21 ABH")
    in_curing(scene, "wet_extraction", dealer_ref="PX-8", registration="TU21 ABJ")
    ready(scene, dealer_ref="PX-9", registration="TU21 ABK")
    posted(dealer, dealer_ref="PX-10", registration="TU21 ABL", due_at=soon[1].isoformat())


@pytest.mark.parametrize("who", POLLS)
def test_an_unchanged_page_is_one_query(scene: Scene, who: str) -> None:
    busy_shop(scene)
    client = lookers(scene)[who]
    with time_machine.travel(now(), tick=False):
        tag, _ = made(client, who)
        with CaptureQueriesContext(connection) as taken:
            answer = polled(client, who, f"W/{tag}")
    assert (answer.status_code, answer.content, answer.headers["ETag"]) == (304, b"", tag)
    assert len(taken) == 1, taken.captured_queries


def test_whatever_somebody_changes_no_poll_keeps_a_page_that_would_be_another() -> None:
    world = World()
    ours = kinds(world.scene.workshop, world.scene.dealer)
    own = lookers(world.scene)
    went_well, changed = set(), set()
    with time_machine.travel(now(), tick=False):
        before = {who: made(client, who) for who, client in own.items()}
        for row, caller in writes():
            COUNTER.clear()
            address = world.address(row.split()[1], side_of(caller))
            with undone():
                if sign(call(ours[caller](), row, address)) != "+":
                    continue
                went_well.add(row)
                for who, client in own.items():
                    browser = again(Api(client)).client
                    answer = polled(browser, who, before[who][0])
                    anew = browser.get(POLLS[who])
                    if anew.status_code != 200 or MADE.sub(b"", anew.content) != before[who][1]:
                        changed.add(row)
                        assert answer.status_code == anew.status_code, (row, who)
        for who, client in own.items():
            assert is_unchanged(client, who, before[who][0]), "all was undone"
    assert len(went_well) > 80, sorted(went_well)
    assert len(changed) > 25, sorted(changed)


def writes() -> Iterator[tuple[str, str]]:
    """Yield every write with somebody who may make it."""
    for row in ROWS:
        if not row.startswith("GET"):
            may = [who for who in callers_of(row) if expected(row, [who])[who] == "+"]
            if may:
                yield row, may[-1] if may[-1] in PEOPLE else may[0]


@contextmanager
def undone() -> Iterator[None]:
    """Undo what is done within."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def test_at_any_later_moment_a_page_that_is_called_unchanged_is_the_same_made_anew() -> None:
    scene = make_scene()
    with time_machine.travel(NIGHT, tick=False) as clock:
        busy_shop(scene)
        clients = lookers(scene)
        held = dict.fromkeys(POLLS, 0)
        gaps = random.Random(2027)
        while now() < NIGHT + timedelta(hours=5):
            pages = {who: made(client, who) for who, client in clients.items()}
            for _ in range(2):
                clock.shift(timedelta(seconds=gaps.choice(GAPS) * gaps.uniform(0.1, 1.0)))
                for who, (tag, body) in pages.items():
                    if is_unchanged(clients[who], who, tag):
                        held[who] += 1
                        assert made(clients[who], who)[1] == body, (who, now())
            clock.shift(timedelta(seconds=gaps.uniform(0, 1800)))
    assert min(held.values()) > 3, held


def test_just_before_and_after_each_moment_that_a_page_tells() -> None:
    scene = make_scene()
    with time_machine.travel(NIGHT, tick=False) as clock:
        busy_shop(scene)
        clients = lookers(scene)
        due = Job.objects.filter(due_at__gt=NIGHT).values_list("due_at", flat=True)
        ends = WaitClock.objects.filter(ends_at__gt=NIGHT).values_list("ends_at", flat=True)
        told = {moment for moment in (*due, *ends) if moment is not None}
        for moment in sorted({*told, next_change(NIGHT)}):
            clock.move_to(moment - timedelta(seconds=20))
            pages = {who: made(client, who) for who, client in clients.items()}
            clock.move_to(moment + timedelta(milliseconds=1))
            for who, (tag, body) in pages.items():
                if made(clients[who], who)[1] != body:
                    assert not is_unchanged(clients[who], who, tag), (who, moment)


def test_words_about_days_change_at_midnight_on_the_days_the_clocks_change_too() -> None:
    spring = datetime(2027, 3, 27, 23, 30, tzinfo=UTC)
    assert next_change(spring) == datetime(2027, 3, 28, 0, 0, tzinfo=UTC)
    assert next_change(spring + timedelta(hours=1)) == datetime(2027, 3, 28, 23, 0, tzinfo=UTC)
    autumn = datetime(2027, 10, 31, 12, 0, tzinfo=UTC)
    assert next_change(autumn) == datetime(2027, 11, 1, 0, 0, tzinfo=UTC)
    soon, every = spring + timedelta(seconds=50), timedelta(minutes=1)
    assert next_change(spring, [None, spring - MINUTE, soon], every=every) == soon
    assert next_change(soon, every=every) == spring + MINUTE


def test_a_clock_that_was_put_back_keeps_no_page(scene: Scene) -> None:
    with time_machine.travel(NIGHT, tick=False) as clock:
        client = lookers(scene)["staff"]
        tag, _ = made(client, "staff")
        clock.shift(timedelta(seconds=-1))
        assert not is_unchanged(client, "staff", tag)


def test_every_table_that_a_polled_page_shows_is_counted() -> None:
    day = found_day()
    tables = set(connection.introspection.table_names())
    asked = set()
    for who, client in lookers(day.scene).items():
        with CaptureQueriesContext(connection) as taken:
            client.get(POLLS[who])
        for query in taken.captured_queries:
            asked |= tables & set(re.findall(r"\w+", query["sql"]))
    assert len(asked) > 10
    assert asked - shown_tables() - BY_THE_TAG == set()


def test_a_change_of_each_shown_table_is_counted_for_those_who_see_it() -> None:
    world = World()
    scene = world.scene
    person_api(scene.staff).client.get("/dashboard/")  # so that a look is noted
    measured(scene, (now(), 18.0))
    done(scene.workshop_api().post(f"/jobs/{world.job['id']}/walk-rounds", BODIES[WALK_ROUND]))
    Finding.objects.get(pk=world.places["workshop"]["finding_id"]).photos.add(
        Photo.objects.all()[0]
    )
    owners = {scene.dealer.pk, scene.workshop.pk}
    models = {model._meta.db_table: model for model in apps.get_models(include_auto_created=True)}
    for table in shown_tables():
        raised = set()
        for row in models[table]._default_manager.all():
            before = versions(owners)
            with undone():
                change(row)
                after = versions(owners)
            raised |= {owner for owner in owners if after[owner] > before[owner]}
        assert raised, table


def change(row: Any) -> None:
    """Change what is shown of a row, or, where all of it is, anything; history only grows."""
    forget_raised()
    rows = type(row)._default_manager.filter(pk=row.pk)
    if isinstance(row, DashboardLook):
        rows.update(seen_until=now())
    elif isinstance(row, (Person, Organisation)):
        rows.update(name="Another name")
    elif isinstance(row, HistoryEntry):
        row.pk, row.number = None, row.number + 1000
        row.save(force_insert=True)
    else:
        name = next(field.name for field in row._meta.concrete_fields if not field.primary_key)
        rows.update(**{name: F(name)})


def versions(organisations: set[UUID]) -> dict[UUID, int]:
    """Return how often the pages of each changed."""
    totals = dict.fromkeys(organisations, 0)
    for row in PagesVersion.objects.filter(organisation_id__in=organisations):
        totals[row.organisation_id] += row.count
    return totals


def forget_raised() -> None:
    """Have PostgreSQL count anew in this transaction, as in the next."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL accounts.pages_raised = ''")


def test_what_no_page_shows_counts_nothing(scene: Scene) -> None:
    owners = {scene.dealer.pk, scene.workshop.pk}
    person_api(scene.staff).client.get("/dashboard/")
    before = versions(owners)
    forget_raised()
    Person.objects.update(last_login=now())
    Organisation.objects.update(ready_version=F("ready_version") + 1)
    DashboardLook.objects.update(looked_at=now())
    assert versions(owners) == before


def test_what_is_undone_counts_for_nothing_and_what_follows_counts(scene: Scene) -> None:
    owners = {scene.dealer.pk, scene.workshop.pk}
    arrived(scene)
    forget_raised()
    before = versions(owners)
    with undone():
        Job.objects.update(colour="Moss green")
        assert versions(owners) != before
    assert versions(owners) == before
    Job.objects.update(colour="Slate grey")
    assert all(count > before[owner] for owner, count in versions(owners).items())


def test_without_a_trigger_nothing_is_called_unchanged(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(polls, "_counted", [])
    with time_machine.travel(NIGHT, tick=False):
        client = lookers(scene)["staff"]
        on = " ON jobs_hold" if connection.vendor == "postgresql" else ""
        with undone(), connection.cursor() as cursor:
            cursor.execute(f"DROP TRIGGER {trigger_of('jobs_hold')}{on}")
            assert triggers_missing()
            assert "ETag" not in client.get(POLLS["staff"]).headers
            triggers_make()
            assert not triggers_missing()
            tag, _ = made(client, "staff")
            assert is_unchanged(client, "staff", tag)


def trigger_of(table: str) -> str:
    """Return the name of the trigger that counts a table's updates."""
    return next(name for name in pages_version._existing(connection) if f"upd_{table}_" in name)


@pytest.mark.servers
@pytest.mark.django_db(transaction=True)
def test_writers_of_one_workshop_do_not_wait_for_each_other() -> None:
    scene = make_scene()
    jobs = [
        arrived(scene, dealer_ref=f"PX-{letter}", registration=f"TU21 AB{letter}")["id"]
        for letter in "BC"
    ]
    owners = {scene.dealer.pk, scene.workshop.pk}
    before = versions(owners)
    both = Barrier(2)

    def write(job: str) -> None:
        with transaction.atomic():
            Job.objects.filter(pk=job).update(colour="Moss green")
            both.wait(timeout=PATIENCE_SECONDS)  # neither commits before the other has written

    at_once(*(partial(write, job) for job in jobs))
    assert versions(owners) == {owner: count + 2 for owner, count in before.items()}
    for owner in owners:
        caller = Caller(owner, Side.DEALER, frozenset(), "anybody")
        assert pages_version_of(caller) == before[owner] + 2


@pytest.mark.parametrize("who", POLLS)
def test_whoever_signed_out_or_may_no_more_is_told_so_and_never_304(scene: Scene, who: str) -> None:
    arrived(scene)
    person = getattr(scene, who)
    away: dict[str, Callable[[Client], Any]] = {
        "signed out": lambda client: client.post("/sign-out"),
        "the password is another": lambda _: set_password(person),
        "switched off": lambda _: Person.objects.filter(pk=person.pk).update(is_active=False),
        "another role": lambda _: Person.objects.filter(pk=person.pk).update(role=""),
        "the sign-in ran out": lambda client: Session.objects.filter(
            pk=client.session.session_key
        ).update(expire_date=now()),
    }
    with time_machine.travel(now(), tick=False):
        for why, go in away.items():
            with undone():
                client = person_api(Person.objects.get(pk=person.pk)).client
                tag, _ = made(client, who)
                assert is_unchanged(client, who, tag)
                go(client)
                assert polled(client, who, tag).status_code in {401, 403}, why


def set_password(person: Person) -> None:
    """Give somebody another password, which ends every other sign-in."""
    person.set_password("as long as the other")
    person.save(update_fields=["password"])


def test_a_tag_of_somebody_else_or_of_another_page_says_nothing(scene: Scene) -> None:
    arrived(scene)
    clients = lookers(scene)
    manager = person_api(scene.manager).client
    with time_machine.travel(now(), tick=False):
        tag, _ = made(clients["owner"], "owner")
        assert not is_unchanged(manager, "owner", tag)
        assert not is_unchanged(manager, "owner", tag.replace(*both_ids(scene)))
        assert not is_unchanged(clients["owner"], "valeter", tag)
        narrowed = clients["owner"].get("/desk/cars?stage=curing", headers={"If-None-Match": tag})
        assert narrowed.status_code == 200
        for other in ("", '"x"', tag[:-2] + '0"', tag.replace("-", "--")):
            assert not is_unchanged(clients["owner"], "owner", other)


def both_ids(scene: Scene) -> tuple[str, str]:
    return scene.owner.pk.hex, scene.manager.pk.hex


def test_a_tablet_that_is_taken_back_shows_nothing_more(scene: Scene) -> None:
    fresh = device_add(workshop=scene.workshop, name="Bay 2", person=scene.owner)
    pin_set(person=scene.valeter, pin="2580")
    tablet = Client()
    tablet.cookies[DEVICE_COOKIE] = fresh.secret
    chosen = {"person": str(scene.valeter.pk), "pin": "2580"}
    assert tablet.post("/tablet/who", chosen).status_code == 303
    with time_machine.travel(now(), tick=False):
        tag, _ = made(tablet, "valeter")
        assert is_unchanged(tablet, "valeter", tag)
        device_revoke(device=fresh.device)
        assert polled(tablet, "valeter", tag).status_code == 401


def test_a_message_that_waits_is_shown(scene: Scene) -> None:
    client = lookers(scene)["owner"]
    with time_machine.travel(now(), tick=False):
        tag = client.get("/tablet/").headers["ETag"]
        request = RequestFactory().get("/")
        storage = CookieStorage(request)
        storage.add(INFO, "The order is accepted.")
        answer = HttpResponse()
        storage.update(answer)
        client.cookies["messages"] = answer.cookies["messages"].value
        again_asked = client.get("/tablet/", headers={"If-None-Match": tag})
    assert again_asked.status_code == 200
    assert "The order is accepted." in again_asked.content.decode()
    assert "ETag" not in again_asked.headers
