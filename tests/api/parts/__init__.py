"""The routes by part of the service: who may call each, with which body, and on what.

Each part has a TABLE of rows, BODIES by row, perhaps QUERIES by row (what follows the question
mark, with places as in an address), and may `furnish` the world with what its addresses name. In a
row stand the method, the address, and a sign for every kind of caller:

+  answered    ?  401, nobody is known    -  403, somebody else may

Columns, in the groups of the table:
  1  nobody
  2  the workshop's owner, manager, valeter
  3  the dealer's staff
  4  a workshop's key with one scope: jobs.read, jobs.work, orders.decide, jobs.override,
     notices.manage, prices.read
  5  a dealer's key with one scope: jobs.read, orders.write, notices.manage, prices.read
"""

from types import ModuleType

from tests.api.parts import findings, orders, paint, photos, refinishing, requests

PARTS: tuple[ModuleType, ...] = (orders, findings, photos, paint, requests, refinishing)
FURNISHED = (findings, photos, paint, requests, refinishing)
