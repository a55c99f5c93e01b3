"""Whether this process has the keys that the database was sealed with, before anything fails by it.

A line sealed with the newest key stands in the database. A process that cannot open it was started
with other keys: it could read no endpoint's secret and no letter.
"""

from django.conf import settings
from django.db import connection, transaction

from core.clock import now
from core.models import KeyProof
from core.sealing import CannotUnseal, is_newest, seal, seal_with, unseal

LINE = b"shutline"
OTHER_KEYS = (
    "The database was sealed with a key that is not among SHUTLINE_FIELD_KEYS. Give this process "
    "the keys that all others have: the newest first, and those before it while anything is still "
    "sealed with them."
)


class OtherKeys(Exception):  # noqa: N818  it says what happened
    """This process was started with other field keys than the database was sealed with."""

    def __init__(self) -> None:
        super().__init__(OTHER_KEYS)


def keys_fit() -> bool:
    """Return whether what stands in the database can be opened; so it can where nothing stands."""
    return all(opens(bytes(proof.sealed)) for proof in KeyProof.objects.all())


def prove_keys(*, first: bool) -> None:
    """Leave the proof for others, sealed with the newest key. Raises OtherKeys.

    Where there is none yet, only the `first` leaves one: the process that makes the tables. A
    database without tables is left alone: whoever needs them says so.
    """
    if KeyProof._meta.db_table not in connection.introspection.table_names():  # noqa: SLF001  Django's own way
        return
    if first:
        KeyProof.objects.get_or_create(id=1, defaults={"sealed": seal(LINE), "sealed_at": now()})
    with transaction.atomic():
        proof = KeyProof.objects.select_for_update().first()
        if proof is None:
            return
        if not opens(bytes(proof.sealed)):
            raise OtherKeys
        if not is_newest(bytes(proof.sealed)):
            KeyProof.objects.update(sealed=seal(LINE), sealed_at=now())


def lines_sealed() -> list[bytes]:
    """Return the line once for each of SHUTLINE_FIELD_KEYS, sealed with it."""
    return [seal_with(key, LINE) for key in settings.FIELD_KEYS]


def opens(sealed: bytes) -> bool:
    """Return whether any of SHUTLINE_FIELD_KEYS opens a line that was sealed as proof."""
    try:
        return unseal(sealed) == LINE
    except CannotUnseal:
        return False
