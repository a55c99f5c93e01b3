"""Examples for the OpenAPI document: an invented workshop and one of its dealers."""

from typing import Any

WORKSHOP = {"id": "0197c0de-0000-7000-8000-00000000b002", "name": "Fernhollow Valeting"}
DEALER = {"id": "0197c0de-0000-7000-8000-00000000a001", "name": "Brackmoor Cars"}

SIGN_IN = {"email": "milo@fernhollow.example", "password": "three quiet words"}
SESSION: dict[str, Any] = {
    "name": "Milo Treen",
    "organisation": WORKSHOP,
    "side": "workshop",
    "role": "manager",
    "person_id": "0197c0de-4444-7000-8000-000000000001",
    "key_prefix": "",
    "scopes": [
        "flow.read",
        "forecast.write",
        "jobs.override",
        "jobs.read",
        "jobs.work",
        "notices.manage",
        "orders.decide",
        "prices.read",
    ],
    "csrf_token": "Zr1vWcN0aKxqLrT6yJmB3uH8dPoEsQf2GtYiXkA7RnVbCw5M4eDhSjUzOl9pIgFa",
}
SESSION_OF_KEY: dict[str, Any] = {
    "name": "Stock system (Brackmoor Cars)",
    "organisation": DEALER,
    "side": "dealer",
    "role": "",
    "person_id": None,
    "key_prefix": "q7Rk2mXw",
    "scopes": ["jobs.read", "orders.write"],
    "csrf_token": "",
}
NEW_KEY = {
    "name": "Stock system",
    "scopes": ["jobs.read", "orders.write"],
    "expires_at": "2028-03-01T00:00:00Z",
}
KEY: dict[str, Any] = {
    "prefix": "q7Rk2mXw",
    "name": "Stock system",
    "scopes": ["jobs.read", "orders.write"],
    "state": "usable",
    "created_at": "2027-03-01T08:00:00Z",
    "expires_at": "2028-03-01T00:00:00Z",
    "last_used_at": None,
    "made_by": "Ines Okafor-Lind",
}
FRESH_KEY = {**KEY, "key": "q7Rk2mXw.an-example-has-no-secret"}
TRADE_ACCOUNT: dict[str, Any] = {
    "id": "0197c0de-0000-7000-8000-00000000c003",
    "dealer": DEALER,
    "workshop": WORKSHOP,
    "accepts_by_itself": True,
    "active": True,
    "created_at": "2027-02-01T09:00:00Z",
}
