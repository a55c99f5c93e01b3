"""Which keys belong to a backup: known lines sealed and signed with them, never the keys."""

from django.core import signing
from django.db import connection

from core.backup.manifest import Manifest
from core.backup.problems import BackupError
from core.field_keys import OTHER_KEYS, keys_fit, lines_sealed, opens
from core.models import KeyProof

LINE = "shutline"
SALT = "core.backup"


def refuse_other_keys() -> None:
    """Raise BackupError where this process cannot open what the database holds."""
    # A database from before there was such a proof, or without any table, has nothing to say.
    has_proof = KeyProof._meta.db_table in connection.introspection.table_names()  # noqa: SLF001  Django's own way
    if has_proof and not keys_fit():
        raise BackupError(OTHER_KEYS)


def signed_line() -> str:
    """Return a known line, signed with the signing key."""
    return signing.Signer(salt=SALT).sign(LINE)


def field_keys_check(manifest: Manifest) -> None:
    """Raise BackupError where a field key that belongs to the backup is not here."""
    missing = [line for line in manifest.field_keys if not opens(line.encode("ascii"))]
    if missing:
        raise BackupError(
            f"{len(missing)} of the {len(manifest.field_keys)} field keys that belong to this "
            "backup is not here. Put back the keys of then: all of SHUTLINE_FIELD_KEYS, or, "
            "without that setting, field.key in the data folder."
        )


def has_signing_key(manifest: Manifest) -> bool:
    """Return whether this process signs with the key of then."""
    try:
        return signing.Signer(salt=SALT).unsign(manifest.signing_key) == LINE
    except signing.BadSignature:
        return False


def sealed_lines() -> list[str]:
    """Return the known line once for each field key, sealed with it."""
    return [line.decode("ascii") for line in lines_sealed()]
