"""Who may do what is for some people only, whether on a page or through the API."""

from accounts.caller import Side, people
from accounts.models import Person

KEY_HOLDERS = people(Person.Role.OWNER, Person.Role.MANAGER, Person.Role.STAFF)
WORKSHOP_HEADS = people(Person.Role.OWNER, Person.Role.MANAGER, sides=frozenset({Side.WORKSHOP}))
