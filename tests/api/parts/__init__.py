"""The routes by part of the service: who may call each, with which body, and on what.

Each part has a TABLE of rows, BODIES by row, perhaps QUERIES by row (what follows the question
mark, with places as in an address), and may `furnish` the world with what its addresses name. In a
row stand the method, the address, and a sign for every kind of caller:

+  answered    ?  401, nobody is known    -  403, somebody else may

A page has a row with the first three groups only, for people alone read it; an answer that leads on
to another page counts as answered.

Columns, in the groups of the table:
  1  nobody
  2  the workshop's owner, manager, valeter
  3  the dealer's staff
  4  a workshop's key with one scope: jobs.read, jobs.work, orders.decide, jobs.override,
     notices.manage, prices.read, flow.read, forecast.write (these two only where they differ)
  5  a dealer's key with one scope: jobs.read, orders.write, notices.manage, prices.read
"""

from importlib import import_module
from pkgutil import iter_modules
from types import ModuleType

from tests.api.parts import (
    catalogue,
    climate,
    clocks,
    durations,
    findings,
    flow,
    orders,
    paint,
    photos,
    products,
    refinishing,
    requests,
)

PAGES: tuple[ModuleType, ...] = tuple(
    import_module(f"{__name__}.{found.name}")
    for found in iter_modules(__path__)
    if found.name.startswith("pages_")
)
PARTS: tuple[ModuleType, ...] = (
    orders,
    catalogue,
    findings,
    photos,
    paint,
    requests,
    refinishing,
    climate,
    durations,
    flow,
    clocks,
    products,
    *PAGES,
)
FURNISHED = tuple(part for part in PARTS if hasattr(part, "furnish"))
