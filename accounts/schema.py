"""Describes the two ways of signing in to the OpenAPI document."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension


class KeyScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """The key of a system."""

    target_class = "accounts.auth.KeyAuthentication"
    name = "apiKey"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        del auto_schema
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A key of POST /api/v1/keys or `manage.py add_key`, as `Bearer <key>`.",
        }


class PersonScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """The sign-in of a person."""

    target_class = "accounts.auth.PersonAuthentication"
    name = "signIn"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        del auto_schema
        return {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "The cookie of POST /api/v1/session; writes add X-CSRFToken.",
        }
