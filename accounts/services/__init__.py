"""Everything that changes an account: one verb, one transaction."""

from accounts.services.devices import (
    FreshDevice,
    device_add,
    device_revoke,
    device_secret_renew,
    device_used,
)
from accounts.services.guesses import (
    guess_wrong,
    guesses_check,
    pin_guess_wrong,
    pin_guesses_check,
    place_note,
    sign_ins_purge,
)
from accounts.services.keys import FreshKey, key_add, key_revoke, scope_error
from accounts.services.leaving import WaysIn, ways_in_close, ways_in_of
from accounts.services.organisations import (
    dealer_add,
    ready_version_raise,
    trade_account_change,
    trade_account_open,
    workshop_add,
)
from accounts.services.people import (
    dealer_person_add,
    password_change,
    password_renew,
    person_add,
    person_change,
    role_error,
)
from accounts.services.pins import pin_check, pin_failures_forget, pin_set, pin_void

__all__ = [
    "FreshDevice",
    "FreshKey",
    "WaysIn",
    "dealer_add",
    "dealer_person_add",
    "device_add",
    "device_revoke",
    "device_secret_renew",
    "device_used",
    "guess_wrong",
    "guesses_check",
    "key_add",
    "key_revoke",
    "password_change",
    "password_renew",
    "person_add",
    "person_change",
    "pin_check",
    "pin_failures_forget",
    "pin_guess_wrong",
    "pin_guesses_check",
    "pin_set",
    "pin_void",
    "place_note",
    "ready_version_raise",
    "role_error",
    "scope_error",
    "sign_ins_purge",
    "trade_account_change",
    "trade_account_open",
    "ways_in_close",
    "ways_in_of",
    "workshop_add",
]
