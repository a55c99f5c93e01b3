"""Cursors of the feed: a position in it, and the epoch that the position is of."""

from django.db.models import Max

from core.epoch import cursor_at, cursor_parts, position_in, refuse_ahead, restored
from core.models import Epoch
from notifications.models import Event, FeedEnd


def feed_end() -> int:
    """Return the last position that was given, 0 where there is none yet."""
    # The greater of the two, since a release that knew no stored one may have placed the last.
    stored = FeedEnd.objects.aggregate(end=Max("position"))["end"] or 0
    placed = Event.objects.aggregate(end=Max("position"))["end"] or 0
    return max(stored, placed)


def feed_position(cursor: int, *, epoch: int) -> int:
    """Return the position that a cursor of the feed stands for.

    Raises Restored for one of another epoch, with the cursor from which to go on: up to where the
    restored backup ends the feed is what it was, so whoever had read less goes on where they were.
    """
    given_in, position = cursor_parts(cursor)
    if cursor == 0 or given_in == epoch:
        return position_in(cursor, epoch=epoch)
    shared = 0
    if Epoch.objects.filter(number=epoch, before=given_in).exists():
        at_restore = FeedEnd.objects.aggregate(end=Max("at_restore"))["end"] or 0
        shared = min(position, at_restore)
    raise restored(cursor=cursor_at(shared, epoch=epoch))


def refuse_ahead_of_feed(position: int) -> None:
    """Raise Restored where a reader is ahead of all that the feed has given."""
    if position:
        refuse_ahead(position, end=feed_end())
