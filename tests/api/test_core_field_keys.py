"""A process with other field keys than the database was sealed with says so before it fails."""

import pytest
from cryptography.fernet import Fernet
from django.core.management import CommandError
from django.test import Client
from pytest_django import Settings

from core.field_keys import OtherKeys, keys_fit, prove_keys
from core.management.commands.serve import prepare_database
from core.models import KeyProof
from tests.api.test_health import swept  # noqa: F401  a fixture

pytestmark = pytest.mark.django_db
OLD, NEW = Fernet.generate_key().decode(), Fernet.generate_key().decode()


def sealed() -> bytes:
    return bytes(KeyProof.objects.get().sealed)


def test_the_first_process_leaves_the_proof_and_the_next_finds_it(settings: Settings) -> None:
    settings.FIELD_KEYS = [OLD]
    assert keys_fit()
    prove_keys(first=True)
    first = sealed()
    prove_keys(first=True)
    assert sealed() == first
    assert b"shutline" not in first


def test_only_who_makes_the_tables_leaves_the_first_proof() -> None:
    """A worker that was given other keys may be the first to start after an upgrade."""
    prove_keys(first=False)
    assert not KeyProof.objects.exists()


def test_a_process_with_another_key_is_refused_and_told_why(settings: Settings) -> None:
    settings.FIELD_KEYS = [OLD]
    prove_keys(first=True)
    first = sealed()
    settings.FIELD_KEYS = [NEW]
    assert not keys_fit()
    with pytest.raises(OtherKeys):
        prove_keys(first=True)
    with pytest.raises(CommandError, match="not among SHUTLINE_FIELD_KEYS"):
        prepare_database(first=False)
    assert sealed() == first


def test_a_new_key_in_front_of_the_old_one_is_right_and_leaves_its_own_proof(
    settings: Settings,
) -> None:
    settings.FIELD_KEYS = [OLD]
    prove_keys(first=True)
    settings.FIELD_KEYS = [NEW, OLD]
    prove_keys(first=True)
    settings.FIELD_KEYS = [NEW]
    assert keys_fit()
    settings.FIELD_KEYS = [OLD]
    assert not keys_fit()


@pytest.mark.usefixtures("swept")
def test_readiness_says_it(client: Client, settings: Settings) -> None:
    settings.FIELD_KEYS = [OLD]
    prove_keys(first=True)
    assert client.get("/readyz").status_code == 200
    settings.FIELD_KEYS = [NEW]
    (error,) = client.get("/readyz").json()["errors"]
    assert error["field"] == "keys"
    assert "the keys that all others have" in error["message"]
