"""The queue in a folder: whole messages, each to one reader, none lost and none left lying."""

import multiprocessing
from collections.abc import Iterator
from multiprocessing.queues import SimpleQueue
from pathlib import Path
from queue import Empty
from typing import Any

import pytest
from kombu import Connection

from core.serving.folder_queue import SUFFIX, Transport
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import wait_until

QUEUE = "shutline"
EACH = 1500
fork = multiprocessing.get_context("fork")


def connect(folder: Path) -> Connection:
    return Connection(transport=Transport, transport_options={"folder": str(folder)})


@pytest.fixture
def channel(tmp_path: Path) -> Iterator[Any]:
    with connect(tmp_path) as connection:
        yield connection.channel()


def put_many(folder: Path, first: int) -> None:
    with connect(folder) as connection:
        channel: Any = connection.channel()
        for number in range(first, first + EACH):
            channel._put(QUEUE, {"number": number})


def take_many(folder: Path, found: "SimpleQueue[list[int]]", stop: Any) -> None:
    """Read as fast as it goes, so that a half-written message would be met."""
    numbers: list[int] = []
    with connect(folder) as connection:
        channel: Any = connection.channel()
        while True:
            last_look = stop.is_set()
            try:
                numbers.append(channel._get(QUEUE)["number"])
            except Empty:
                if last_look:
                    break
    found.put(numbers)


def test_two_writers_and_two_readers_lose_and_double_nothing(tmp_path: Path) -> None:
    found: SimpleQueue[list[int]] = fork.SimpleQueue()
    stop = fork.Event()
    readers = [fork.Process(target=take_many, args=(tmp_path, found, stop)) for _ in range(2)]
    writers = [fork.Process(target=put_many, args=(tmp_path, n * EACH)) for n in range(2)]
    for process in readers + writers:
        process.start()
    for process in writers:
        process.join()
    stop.set()
    numbers = sorted(found.get() + found.get())
    for process in readers:
        process.join()
    assert [process.exitcode for process in readers + writers] == [0, 0, 0, 0]
    assert numbers == list(range(2 * EACH))
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_messages_come_in_the_order_of_writing(channel: Any) -> None:
    for number in range(20):
        channel._put(QUEUE, number)
    assert channel._size(QUEUE) == 20
    assert [channel._get(QUEUE) for _ in range(20)] == list(range(20))
    with pytest.raises(Empty):
        channel._get(QUEUE)


def test_an_unfinished_message_is_not_taken(channel: Any, tmp_path: Path) -> None:
    channel._put(QUEUE, "whole")
    (tmp_path / QUEUE / "0-unfinished.part").write_text('"ha')
    assert channel._size(QUEUE) == 1
    assert channel._get(QUEUE) == "whole"
    with pytest.raises(Empty):
        channel._get(QUEUE)


def test_a_message_that_a_power_cut_emptied_is_passed_over(channel: Any, tmp_path: Path) -> None:
    (tmp_path / QUEUE).mkdir()
    (tmp_path / QUEUE / f"0-emptied{SUFFIX}").touch()
    channel._put(QUEUE, "whole")
    assert channel._get(QUEUE) == "whole"
    assert channel._size(QUEUE) == 0


def test_a_wiped_folder_is_an_empty_queue_that_takes_messages_again(
    channel: Any, tmp_path: Path
) -> None:
    channel._put(QUEUE, 1)
    channel._put(QUEUE, 2)
    assert channel._get(QUEUE) == 1
    (left,) = (tmp_path / QUEUE).iterdir()
    left.unlink()
    (tmp_path / QUEUE).rmdir()
    with pytest.raises(Empty):
        channel._get(QUEUE)
    channel._put(QUEUE, 3)
    assert channel._get(QUEUE) == 3


def test_purging_counts_what_it_removed(channel: Any) -> None:
    for number in range(3):
        channel._put(QUEUE, number)
    assert channel._purge(QUEUE) == 3
    assert channel._size(QUEUE) == 0


def test_a_consumer_gets_what_a_producer_sent(tmp_path: Path) -> None:
    bodies: list[Any] = []
    with connect(tmp_path) as sending, connect(tmp_path) as receiving:
        sending.Producer().publish({"wake": True}, routing_key=QUEUE, serializer="json")
        queue = receiving.SimpleQueue(QUEUE)
        message = queue.get(timeout=PATIENCE_SECONDS)
        bodies.append(message.payload)
        message.ack()
        queue.close()
    assert bodies == [{"wake": True}]
    wait_until(lambda: not list(tmp_path.rglob(f"*{SUFFIX}")), "an empty folder")
