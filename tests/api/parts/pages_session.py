"""Signing in and out, and the way to one's own pages."""

from typing import Any

from tests.api.forms import Form
from tests.scene import PASSWORD

TABLE = """
GET    /            ? +++ +
GET    /sign-in     + +++ +
POST   /sign-in     + +++ +
POST   /sign-out    ? +++ +
"""
_TYPED = f"email=tam%40valeter.example&password={PASSWORD.replace(' ', '+')}".encode()
BODIES: dict[str, Any] = {
    "POST /sign-in": Form(_TYPED, "application/x-www-form-urlencoded"),
}
