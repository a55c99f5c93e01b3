"""Webhook secrets: made here, encrypted at rest, and which of them sign at a given moment."""

import base64
import secrets
from datetime import datetime
from functools import lru_cache

from django.conf import settings

from core.sealing import CannotUnseal, seal, unseal
from notifications.models import Endpoint

PREFIX = "whsec_"
SECRET_BYTES = 32  # Standard Webhooks 1.0.0: from 24 to 64


class UnreadableSecretError(ValueError):
    """No key in SHUTLINE_FIELD_KEYS opens this secret: add the key it was encrypted with."""

    def __init__(self) -> None:
        super().__init__(self.__doc__)


def new_secret() -> str:
    """Return a fresh secret as the receiver's owner gets to see it."""
    return PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode("ascii")


def encrypt(text: str) -> str:
    """Return the text encrypted with the newest key of settings.FIELD_KEYS."""
    return seal(text.encode()).decode("ascii")


def decrypt(token: str) -> str:
    """Return the text of a token that `encrypt` made. Raises UnreadableSecretError."""
    return _decrypted(tuple(settings.FIELD_KEYS), token)


@lru_cache(maxsize=1024)
def _decrypted(_keys: tuple[str, ...], token: str) -> str:
    """Kept in memory for these keys: opening a secret takes longer than signing with it."""
    try:
        return unseal(token.encode()).decode()
    except CannotUnseal as error:
        raise UnreadableSecretError from error


def secrets_for_signing(endpoint: Endpoint, at: datetime) -> list[str]:
    """Return the secrets that sign at that moment, newest first. Raises UnreadableSecretError."""
    tokens = [endpoint.secret]
    until = endpoint.old_secret_until
    if endpoint.old_secret and until is not None and until > at:
        tokens.append(endpoint.old_secret)
    return [decrypt(token) for token in tokens]
