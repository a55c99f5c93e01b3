"""The demo as a whole: receivers, service, cast, the day, the verdict, and staying up or not."""

import signal
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

from jobs.demo import cast, timeline
from jobs.demo.air import AirTablet
from jobs.demo.cast import Person
from jobs.demo.client import Client
from jobs.demo.closing import close
from jobs.demo.dashboard import Dashboard
from jobs.demo.day import MAILED, Day
from jobs.demo.evidence import AnsweringDealer, to_look_at
from jobs.demo.mail import Lookup, MailReceiver
from jobs.demo.receivers import WebhookReceiver
from jobs.demo.service import Service, zone_name, zone_where_the_day_ends
from jobs.demo.stay import print_addresses, stay
from jobs.demo.story import Players, play


@dataclass(frozen=True, slots=True)
class Stage:
    """Everything that runs while the day is played."""

    service: Service
    webhooks: WebhookReceiver
    mails: MailReceiver
    made: Mapping[str, Any]  # passwords and keys

    def signed_in(self, person: Person) -> Client:
        """Return a client in which the person has signed in."""
        client = Client(self.service.url, person.name)
        client.sign_in(person.email, self.made["passwords"][person.email])
        return client

    def system(self, key: cast.Key) -> Client:
        """Return a client that carries a system's key."""
        name = "stock system" if key is cast.STOCK_SYSTEM else key.name
        return Client(self.service.url, name, self.made["keys"][key.name])


def run(*, root: Path, data: Path, port: int, staying: bool) -> int:
    """Play the day; return the exit code: 0 where everything arrived. Raises DemoError."""
    started = time.monotonic()
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, _leave)
    # A shell starts what it runs in the background deaf to this one, and Python leaves it so.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    now = datetime.now(UTC)
    zone = zone_where_the_day_ends(now)
    with ExitStack() as stack:
        stage = _build(stack, root=root, data=data, port=port, zone=zone_name(zone))
        board = Dashboard(stage.system(cast.DASHBOARD))
        board.start()
        stack.callback(board.stop)
        midnight = now.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
        day = Day(
            midnight=midnight,
            webhooks=stage.webhooks.postbox,
            mails=stage.mails.postbox,
            dashboard=board,
        )
        _open_the_curtain(stage, midnight, seconds=time.monotonic() - started)
        readers = _play(stage, day)
        faults = close(day, readers, stage.system(cast.OTHER_DEALER), started=started)
        stage.service.keep = bool(faults)
        if staying:
            stock = stage.system(cast.STOCK_SYSTEM)
            print_addresses(stage.service, stage.made, board, to_look_at(day, stock))
            board.stop()
            stay(stage.service, day.postboxes)
    return 1 if faults else 0


def _build(stack: ExitStack, *, root: Path, data: Path, port: int, zone: str) -> Stage:
    """Start receivers and service and make the cast; `stack` stops them again."""
    webhooks, mails = WebhookReceiver(), MailReceiver()
    for receiver in (webhooks, mails):
        receiver.start()
        stack.callback(receiver.stop)
    service = Service(root=root, data=data, port=port, mail_port=mails.port, zone=zone)
    stack.enter_context(_running(service))
    made = service.found()
    service.wait_until_ready()
    stage = Stage(service, webhooks, mails, made)
    endpoint = {"url": webhooks.url, "description": "Stock system"}
    answer = stage.system(cast.STOCK_SYSTEM).post("/webhook-endpoints", endpoint, status=201)
    webhooks.secret = answer.json["secret"]
    mails.lookups = {
        cast.QUILLHAVEN.email: Lookup(stage.signed_in(cast.DARA)),
        cast.INES.email: Lookup(stage.signed_in(cast.INES)),
    }
    recipient = {"email": cast.QUILLHAVEN.email, "event_types": list(MAILED)}
    stage.signed_in(cast.DARA).post("/email-recipients", recipient, status=201)
    return stage


@contextmanager
def _running(service: Service) -> Iterator[None]:
    """Run the service; afterwards its folder goes, unless something went wrong."""
    try:
        service.start()
        yield
    except Exception:
        service.keep = True
        raise
    finally:
        service.stop()
        if service.keep:
            timeline.line(f"The service's log is kept: {service.log}")
        else:
            service.remove_folder()


def _open_the_curtain(stage: Stage, midnight: datetime, *, seconds: float) -> None:
    timeline.heading(f"A day at {cast.WORKSHOP.name}, {midnight:%A %d %B %Y}")
    timeline.paragraph(
        f"The service came up at {stage.service.url} in {seconds:.1f} s, with one workshop and two "
        "dealers. Brackmoor Cars has a stock system and takes signed webhooks; its orders are "
        "accepted by themselves. Quillhaven Motors takes e-mail, and the workshop decides about "
        "each of its orders. Tam, Neve, Bryn and their manager Milo work at tablets, signed in."
    )
    timeline.line()
    timeline.paragraph(
        f"Times on the left are the tablets' ({midnight:%Z}, where it is evening now); a dealer's "
        "call is told at the time it stands for. Milliseconds are real, from the sending of the "
        "call until the receiver had the notice."
    )


def _play(stage: Stage, day: Day) -> dict[str, Client]:
    """Play the day; return who reads which organisation's feed."""
    stock, dara = stage.system(cast.STOCK_SYSTEM), stage.signed_in(cast.DARA)
    play(
        Players(
            day=day,
            stock=AnsweringDealer(day, stock, cast.BRACKMOOR.name),
            ines=AnsweringDealer(day, stage.signed_in(cast.INES), cast.BRACKMOOR.name),
            dara=AnsweringDealer(day, dara, cast.QUILLHAVEN.name),
            milo=AirTablet(day, stage.signed_in(cast.MILO)),
            tam=AirTablet(day, stage.signed_in(cast.TAM)),
            neve=AirTablet(day, stage.signed_in(cast.NEVE)),
            bryn=AirTablet(day, stage.signed_in(cast.BRYN)),
            endpoint=stage.webhooks,
            other=stage.system(cast.OTHER_DEALER),
        )
    )
    return {
        cast.BRACKMOOR.name: stock,
        cast.QUILLHAVEN.name: dara,
        cast.WORKSHOP.name: stage.system(cast.WORKSHOP_DESK),
    }


def _leave(number: int, _frame: FrameType | None) -> None:
    """Turn a signal into an exit that still stops everything."""
    raise SystemExit(128 + number)
