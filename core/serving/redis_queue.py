"""Redis as Celery's queue, for a worker that outlives it.

kombu goes on counting a message that could not be acknowledged as one the worker holds. Where
Redis goes away while a worker acknowledges all it may hold, that worker would never again ask for
a message, nor notice that Redis is back. Here such a message is let go.
"""

from typing import Any

from kombu.transport import redis, virtual
from redis.exceptions import RedisError


class QoS(redis.QoS):
    """Counts what the worker holds."""

    def ack(self, delivery_tag: Any) -> None:
        try:
            super().ack(delivery_tag)
        except Exception:
            virtual.QoS.ack(self, delivery_tag)  # as if acknowledged; Redis may hand it out again
            raise


class Channel(redis.Channel):
    """The channel with that count."""

    QoS = QoS

    def waiting(self, queue: str) -> int:
        """Return how many messages wait in a queue. Raises OSError where Redis does not say."""
        try:
            return int(self._size(queue))
        except RedisError as error:
            raise OSError("Redis does not answer.") from error


class Transport(redis.Transport):
    """Redis as a kombu transport with that channel."""

    Channel = Channel
