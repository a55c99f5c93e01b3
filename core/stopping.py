"""Whether this worker is about to stop: all its processes know at once, also those forked off.

Celery's own way to stop ("warm") lets each process end the task it is at, and tells only the
first process that the end has come. A task that looks for more work looks here before.
"""

import mmap


def _fresh_word() -> mmap.mmap:
    """Return a byte that is shared with whatever is forked from here on; it needs no lock."""
    return mmap.mmap(-1, 1)


_word = _fresh_word()


def begin_worker() -> None:
    """Give this worker a word of its own: what another one was told is not meant for it."""
    global _word  # noqa: PLW0603  one worker a process
    _word = _fresh_word()


def stop_soon() -> None:
    """Say that nothing new is to be begun."""
    _word[0] = 1


def is_stopping() -> bool:
    """Return whether nothing new is to be begun."""
    return _word[0] == 1
