"""The day at Fernhollow Valeting, hour by hour.

The clock times are the tablets' (`occurred_at`); a dealer's calls carry no time of their own.
"""

from dataclasses import dataclass

from jobs.demo import drawn, timeline
from jobs.demo.air import AirTablet
from jobs.demo.cast import DRAY, HOB, INES, LYND, MOOR, OSK, SELA, SELA_TWO, TARROW
from jobs.demo.client import Client
from jobs.demo.condition import Shot
from jobs.demo.day import Day
from jobs.demo.evidence import AnsweringDealer
from jobs.demo.props import (
    BRAKES,
    CHIPS,
    FILM,
    LEFT_BEHIND,
    LENS,
    PLASTIC,
    SELA_CAME,
    SELA_LEAVES,
    SLATE,
    WORN_TYRE,
)
from jobs.demo.receivers import WebhookReceiver


@dataclass(frozen=True, slots=True)
class Players:
    """Everybody who acts in the day."""

    day: Day
    stock: AnsweringDealer
    ines: AnsweringDealer
    dara: AnsweringDealer
    milo: AirTablet
    tam: AirTablet
    neve: AirTablet
    bryn: AirTablet
    endpoint: WebhookReceiver
    other: Client  # a system of the dealer that these cars are none of the business of


def play(players: Players) -> None:
    """Play the whole day."""
    timeline.heading("The orders come in")
    orders(players)
    timeline.heading("Morning")
    early(players)
    late_morning(players)
    timeline.heading("Afternoon")
    midday(players)
    outage(players)
    afternoon(players)
    timeline.heading("The end of the day")
    evening(players)


def orders(players: Players) -> None:
    """Post orders: dealer one's system singly and as CSV, dealer two's person two."""
    day, stock, dara = players.day, players.stock, players.dara
    noon, later = day.later(1, "12:00"), day.later(1, "16:00")
    stock.posts_twice(LYND, "07:35", noon)
    stock.posts(OSK, "07:36", later)
    wrong = stock.posts_sheet(
        "07:50",
        [SELA, DRAY, TARROW, HOB],
        later,
        mistyped={"operations": ["auction_perp"], "due_at": "tomorrow at four"},
    )
    stock.corrects(wrong, "07:54", later)
    dara.posts(MOOR, "08:02", day.later(1, "09:00"))
    dara.posts(SELA_TWO, "08:04", day.later(0, "18:30"))


def early(players: Players) -> None:
    """Decide about dealer two's orders and book the first cars in."""
    day, dara = players.day, players.dara
    milo, tam, neve, bryn = players.milo, players.tam, players.neve, players.bryn
    tam.reads_the_air("08:05", 14.5, 64)
    milo.sends_the_forecast("08:06")
    tam.books_in(LYND, "08:10", "one key, no warning lights")
    milo.decides(MOOR, "08:12")
    tam.photographs(
        LYND, "08:13", Shot(drawn.car(SLATE, dirty=True), "before", "left_side"), twice=True
    )
    milo.decides(
        SELA_TWO,
        "08:14",
        decline="A full valet wets the seats and they would not be dry by half past six.",
    )
    neve.books_in(OSK, "08:15", "two keys, dog hair in the boot")
    tam.moves(LYND, "08:18", "cleaning")
    neve.works(OSK, "08:17", walk_round=9)
    neve.moves(OSK, "08:27", "cleaning")
    bryn.books_in(SELA, "08:30", "two keys, clean on the whole")
    bryn.walks_round(SELA, "08:33", "arrival", **SELA_CAME)
    dara.posts(
        SELA_TWO, "08:40", day.later(2, "16:00"), again="order Q-81 again, for two days later"
    )
    bryn.moves(SELA, "08:43", "cleaning")
    milo.decides(SELA_TWO, "08:55")
    milo.books_in(DRAY, "09:05", "side marker lens broken, sign-written")
    milo.moves(DRAY, "09:08", "cleaning")


def late_morning(players: Players) -> None:
    """Clean; hold for parts; meet a change of scope that a stale tablet would have missed."""
    milo, tam, neve, bryn = players.milo, players.tam, players.neve, players.bryn
    tam.works(LYND, "08:20", engine_bay=30, shuts=19, wheels_arches=34, wash_body=37)
    worn_tyre(players)
    milo.works(DRAY, "09:10", sticker_removal=42, wash_body=33)
    milo.holds(DRAY, "10:27", "parts", "side marker lens to come from the dealer")
    bryn.works(SELA, "08:45", wash_body=32, dust_interior=13, vacuum=23, plastics=22, glass=14)
    bryn.keeps(SELA, "10:29", "driver_seat", LEFT_BEHIND, kept_at="desk, drawer 3")
    bryn.moves(SELA, "10:30", "ready")
    neve.works(OSK, "08:30", wash_body=33, dust_interior=14, pet_hair=48, vacuum=26)
    bryn.books_in(TARROW, "10:35", "two keys, bonnet repaired once")
    bryn.moves(TARROW, "10:38", "cleaning")
    players.ines.changes(
        LYND,
        "11:15",
        "changes the order: headlamps and touching in, 500 min at most",
        operations=[*LYND.order["operations"], "headlamps", "touch_in"],
        cap_minutes=500,
    )
    tam.works(LYND, "10:35", vacuum=25, plastics=22, glass=14)
    tam.reads_the_air("11:39", 17, 55)
    tam.is_refused(LYND, "11:40", "correction")
    tam.reads_what_is_left(LYND, "11:41")
    tam.sees_the_change(LYND, "11:42")
    tam.moves(LYND, "11:43", "correction")
    bryn.works(TARROW, "10:40", shuts=18, wash_body=32, vacuum=24, glass=13)
    bryn.moves(TARROW, "12:08", "correction")
    neve.works(OSK, "10:40", wet_extraction=62, plastics=23, glass=14)
    tam.works(LYND, "11:45", headlamps=35)
    neve.moves(OSK, "12:22", "curing", why="the seats must dry")
    neve.reads_what_it_waits_for(OSK, "12:23")
    bryn.reads_the_paint(TARROW, "12:24", FILM, PLASTIC)
    bryn.looks_for_a_film(TARROW, "12:25")
    bryn.sends_what_is_offered(TARROW, "12:26")


def shot_of_the_side(moment: str) -> Shot:
    """Draw the first car, dirty before the work and clean after it."""
    return Shot(drawn.car(SLATE, dirty=moment == "before"), moment, "left_side")


def worn_tyre(players: Players) -> None:
    """Report a finding with two pictures, which reach the dealer's system and nobody else."""
    shots = [
        Shot(drawn.tyre(worn=True), "detail", area="left_front_wheel", caption="inner edge"),
        Shot(drawn.tyre(worn=False), "detail", area="right_front_wheel", caption="right side"),
    ]
    finding = players.tam.finds(LYND, "10:21", shots=shots, **WORN_TYRE)
    players.stock.fetches_pictures(LYND, "10:22", "finding.reported", finding, players.other)


def midday(players: Players) -> None:
    """Fit the parts; book dealer two's car in; let the first car go."""
    milo, neve = players.milo, players.neve
    milo.books_in(MOOR, "12:40", "one key, front wheel kerbed")
    answer_by = players.day.later(0, "18:30")
    request = milo.proposes(MOOR, "12:50", answer_by=answer_by, **CHIPS)
    neve.moves(MOOR, "12:57", "cleaning")
    players.tam.reads_the_air("13:00", 18, 52)
    milo.releases(DRAY, "13:05", "lens came with the lunch run and is fitted")
    milo.ticks(DRAY, "13:06", LENS, "fitted", "right rear")
    players.dara.approves_by_link(MOOR, "13:20", request)
    milo.works(DRAY, "13:08", load_area=18, vacuum=24)
    milo.moves(DRAY, "13:52", "correction")
    milo.may_not_hand_over(SELA, "14:00")
    milo.hands_back(SELA, "14:02", INES.name)
    milo.walks_round(SELA, "14:03", "leaving", **SELA_LEAVES)
    milo.collected(SELA, "14:05", "gone to its test drive, one key stays in the safe")


def outage(players: Players) -> None:
    """Make dealer one's endpoint fail twice; what happens meanwhile waits its turn."""
    milo, day = players.milo, players.day
    timeline.line()
    timeline.paragraph(
        "(Brackmoor's endpoint answers the next two tries with 500. The second notice about the "
        "car waits until the first was taken.)"
    )
    timeline.line()
    players.endpoint.fail_next(2)
    with day.together():
        milo.books_in(HOB, "14:10", "one key, no service book")
        milo.works(HOB, "14:11", walk_round=8, personal_items=9)
        milo.moves(HOB, "14:30", "cleaning")


def afternoon(players: Players) -> None:
    """Correct and cure; take a car back for rework; make three cars ready."""
    milo, tam, neve, bryn = players.milo, players.tam, players.neve, players.bryn
    bryn.works(TARROW, "12:42", polish_one_stage=108)
    bryn.moves(TARROW, "14:32", "ready")
    tam.reads_the_air("14:33", 15.5, 60)
    neve.works(MOOR, "13:00", wash_body=33, vacuum=24, plastics=23, glass=14)
    neve.moves(MOOR, "14:35", "correction")
    neve.works(MOOR, "14:36", tyre_dressing=10)
    touching_in(players)
    bryn.moves(
        TARROW,
        "15:10",
        "correction",
        reason="Ines sees machine marks on the bonnet in low sun",
    )
    milo.works(DRAY, "14:35", polish_spot=47)
    milo.moves(DRAY, "15:24", "ready")
    tam.works(LYND, "12:50", paint_test=15, polish_one_stage=100, touch_in=22, trim_dressing=17)
    tam.photographs(LYND, "15:25", shot_of_the_side("after"))
    tam.moves(LYND, "15:26", "curing")
    neve.is_refused(OSK, "15:40", "ready")
    neve.feels(OSK, "15:43", "wet_extraction", dry=True)
    neve.moves(OSK, "15:44", "ready", why="the seats are dry")
    bryn.works(TARROW, "15:12", again="taken up again", polish_one_stage=33)
    bryn.moves(TARROW, "15:47", "ready")


def touching_in(players: Players) -> None:
    """Touch in by several light coats, each with its timer; one is tried too early."""
    neve = players.neve
    neve.begins(MOOR, "14:47", "touch_in")
    neve.puts_on(MOOR, "14:48", "touch_in", "primer", minutes=8)
    neve.puts_on(MOOR, "14:56", "touch_in", "colour", minutes=8)
    neve.is_too_early_with(MOOR, "15:01", "touch_in", "colour")
    neve.puts_on(MOOR, "15:04", "touch_in", "colour", minutes=8)
    neve.ends(MOOR, "15:06", "touch_in")
    neve.moves(MOOR, "15:07", "curing")


def the_door_stood_open(players: Players) -> None:
    """Read what a dressing waits for, and see a reading that comes late make it later."""
    tam = players.tam
    tam.is_refused(LYND, "16:25", "ready")
    tam.reads_what_it_waits_for(LYND, "16:26")
    tam.reads_the_air("16:28", 11.5, 74, of="15:50", moves=LYND)
    tam.reads_what_it_waits_for(LYND, "16:29")


def brake_fluid(players: Players) -> None:
    """Keep a car where it is until the dealer, who knows of it, says who transports it."""
    neve = players.neve
    danger = neve.finds(HOB, "16:32", **BRAKES)
    neve.is_refused(HOB, "16:33", "ready")
    players.ines.acknowledges(HOB, "16:34", danger, "Nobody drives it.")
    neve.is_refused(HOB, "16:35", "ready")
    players.ines.has_it_transported(HOB, "16:36", danger, "Corm Recovery")


def evening(players: Players) -> None:
    """Wait for a clock or answer for it; let a car go; leave one in cleaning."""
    milo, neve = players.milo, players.neve
    neve.moves(MOOR, "16:10", "ready", why="the paint is dry")
    the_door_stood_open(players)
    neve.works(HOB, "15:45", shuts=17, wheels_arches=29)
    brake_fluid(players)
    milo.collected(MOOR, "16:37", "Dara drives it over herself")
    milo.overrides(
        LYND,
        "16:40",
        "ready",
        reason="Trim dressing only; it stands under cover and dry until it is fetched.",
    )
    players.stock.fetches_pictures(LYND, "16:41", "job.ready", "", players.other)
