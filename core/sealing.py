"""Encrypts what must not lie readable in the database: endpoint secrets, answers that show one."""

from functools import lru_cache

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings


class CannotUnseal(Exception):  # noqa: N818  it says what happened
    """None of SHUTLINE_FIELD_KEYS opens this; put the key it was sealed with back on the list."""


def _box() -> MultiFernet:
    return _box_of(tuple(settings.FIELD_KEYS))


@lru_cache(maxsize=8)
def _box_of(keys: tuple[str, ...]) -> MultiFernet:
    return MultiFernet([Fernet(key) for key in keys])


def seal(plain: bytes) -> bytes:
    """Return the bytes encrypted and signed with the first of settings.FIELD_KEYS."""
    return _box().encrypt(plain)


def seal_with(key: str, plain: bytes) -> bytes:
    """Return the bytes encrypted and signed with this key."""
    return Fernet(key).encrypt(plain)


def is_newest(sealed: bytes) -> bool:
    """Return whether the first of settings.FIELD_KEYS sealed this, and none of those behind it."""
    try:
        Fernet(settings.FIELD_KEYS[0]).decrypt(sealed)
    except InvalidToken:
        return False
    return True


def unseal(sealed: bytes) -> bytes:
    """Return what was sealed with any of settings.FIELD_KEYS. Raises CannotUnseal."""
    try:
        return _box().decrypt(sealed)
    except InvalidToken as error:
        raise CannotUnseal(CannotUnseal.__doc__) from error
