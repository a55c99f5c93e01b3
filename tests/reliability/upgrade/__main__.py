"""Runs it in a process of its own: `python -m tests.reliability.upgrade`."""

import django

django.setup()

from tests.reliability.upgrade.old import main  # noqa: E402  models can be imported only now

main()
