"""Whether this worker is about to stop: all its processes know at once, also those forked off.

Celery's own way to stop ("warm") lets each process end the task it is at, and tells only the
first process that the end has come. A task that looks for more work looks here before.
"""

import mmap

# Shared with whatever is forked from here on; a byte needs no lock.
_WORD = mmap.mmap(-1, 1)


def stop_soon() -> None:
    """Say that nothing new is to be begun."""
    _WORD[0] = 1


def is_stopping() -> bool:
    """Return whether nothing new is to be begun."""
    return _WORD[0] == 1
