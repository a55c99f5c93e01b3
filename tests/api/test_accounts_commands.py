"""The operator's commands: what they make, what they print, and how they fail."""

import io
import json
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from accounts.models import ApiKey, Organisation, Person, TradeAccount
from accounts.services import dealer_add, pin_check, workshop_add
from tests.scene import Api

pytestmark = pytest.mark.django_db


def printed(name: str, *arguments: str) -> str:
    """Run a command and return what it prints."""
    out = io.StringIO()
    call_command(name, *arguments, stdout=out)
    return out.getvalue()


def made(name: str, *arguments: str) -> dict[str, Any]:
    """Run a command with --json and return the object it prints on its one line."""
    (line,) = printed(name, *arguments, "--json").splitlines()
    result: dict[str, Any] = json.loads(line)
    return result


def failure(name: str, *arguments: str) -> str:
    """Run a command that fails and return its sentence; nothing is printed."""
    out = io.StringIO()
    with pytest.raises(CommandError) as caught:
        call_command(name, *arguments, stdout=out)
    assert caught.value.returncode == 1
    assert out.getvalue() == ""
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert sentence.endswith(".")
    return sentence


@pytest.fixture
def workshop() -> Organisation:
    return workshop_add(name="Fernhollow Valeting")


@pytest.fixture
def account(workshop: Organisation) -> TradeAccount:
    return dealer_add(name="Brackmoor Cars", workshop=workshop)


def test_a_workshop_is_made() -> None:
    result = made(
        "add_workshop", "Fernhollow Valeting", "--contact-email", "desk@fernhollow.example"
    )
    workshop = Organisation.objects.get()
    assert result == {"id": str(workshop.pk), "kind": "workshop", "name": "Fernhollow Valeting"}
    assert workshop.contact_email == "desk@fernhollow.example"


def test_a_workshop_is_told_in_words() -> None:
    text = printed("add_workshop", "Fernhollow Valeting")
    assert text == (
        f"Made the workshop Fernhollow Valeting with the id {Organisation.objects.get().pk}.\n"
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["Fernhollow Valeting"], "already"),
        ([" "], "name"),
        (["x" * 121], "120"),
        (["Otterslade", "--contact-email", "desk"], "contact_email: Not an e-mail address."),
    ],
)
def test_a_workshop_that_cannot_be_made_is_refused_in_one_sentence(
    workshop: Organisation, arguments: list[str], words: str
) -> None:
    assert words in failure("add_workshop", *arguments)
    assert list(Organisation.objects.all()) == [workshop]


def test_a_dealer_is_made_with_its_account(workshop: Organisation) -> None:
    result = made("add_dealer", "Brackmoor Cars", "--workshop", "Fernhollow Valeting")
    account = TradeAccount.objects.get()
    assert account.dealer.kind == "dealer"
    assert result == {
        "id": str(account.dealer.pk),
        "kind": "dealer",
        "name": "Brackmoor Cars",
        "made": True,
        "trade_account_id": str(account.pk),
        "workshop_id": str(workshop.pk),
        "workshop_name": "Fernhollow Valeting",
        "accepts_by_itself": True,
    }


def test_a_dealer_may_be_one_whose_orders_are_asked_about(workshop: Organisation) -> None:
    text = printed("add_dealer", "Brackmoor Cars", "--workshop", str(workshop.pk), "--asks-first")
    assert "asked about each order" in text
    assert TradeAccount.objects.get().accepts_by_itself is False


def test_a_dealer_already_there_gets_a_further_account(account: TradeAccount) -> None:
    second_workshop = workshop_add(name="Otterslade Valeting")
    result = made("add_dealer", "Brackmoor Cars", "--workshop", "Otterslade Valeting")
    assert result["made"] is False
    assert result["id"] == str(account.dealer.pk)
    assert TradeAccount.objects.get(workshop=second_workshop).dealer == account.dealer
    assert "was there already" in printed(
        "add_dealer", "Brackmoor Cars", "--workshop", str(workshop_add(name="A third").pk)
    )


def test_the_same_account_is_not_opened_twice(account: TradeAccount) -> None:
    sentence = failure("add_dealer", "Brackmoor Cars", "--workshop", account.workshop.name)
    assert "has an account with Fernhollow Valeting already" in sentence
    assert TradeAccount.objects.count() == 1


def test_a_dealer_already_there_keeps_its_address(account: TradeAccount) -> None:
    workshop_add(name="Otterslade Valeting")
    sentence = failure(
        "add_dealer",
        "Brackmoor Cars",
        "--workshop",
        "Otterslade Valeting",
        "--contact-email",
        "new@brackmoor.example",
    )
    assert "/admin/" in sentence
    account.dealer.refresh_from_db()
    assert account.dealer.contact_email == ""
    assert TradeAccount.objects.count() == 1


def test_a_dealer_is_no_workshop_even_by_its_id(account: TradeAccount) -> None:
    for wanted in ("Brackmoor Cars", str(account.dealer.pk), "Nowhere", ""):
        sentence = failure("add_dealer", "New Cars", "--workshop", wanted)
        assert sentence == f"No workshop is called {wanted!r}: give its exact name or its id."
    assert not Organisation.objects.filter(name="New Cars").exists()


def test_a_name_that_two_share_is_settled_by_the_id(account: TradeAccount) -> None:
    dealer = dealer_add(name="Fernhollow Valeting", workshop=account.workshop).dealer
    arguments = ["--scopes", "jobs.read", "--organisation"]
    assert "More than one" in failure("add_key", *arguments, "Fernhollow Valeting")
    result = made("add_key", *arguments, str(dealer.pk))
    assert result["organisation_id"] == str(dealer.pk)


PERSON = ["Milo Treen", "--organisation", "Fernhollow Valeting", "--email"]


def test_a_person_is_made_with_a_password_shown_once(workshop: Organisation) -> None:
    result = made("add_person", *PERSON, "Milo@Fernhollow.example", "--role", "manager")
    person = Person.objects.get()
    assert result == {
        "id": str(person.pk),
        "name": "Milo Treen",
        "email": "milo@fernhollow.example",
        "role": "manager",
        "organisation_id": str(workshop.pk),
        "organisation_name": "Fernhollow Valeting",
        "password": result["password"],
    }
    assert len(result["password"]) >= 16
    signed_in = Api(Client()).post(
        "/session", {"email": "milo@fernhollow.example", "password": result["password"]}
    )
    assert signed_in.status_code == 200


def test_a_person_is_told_in_words_with_the_password_on_its_own_line(
    workshop: Organisation,
) -> None:
    del workshop
    first, second = printed(
        "add_person", *PERSON, "milo@fernhollow.example", "--role", "owner"
    ).splitlines()
    assert "owner at Fernhollow Valeting" in first
    password = second.removeprefix("The password, shown this once: ")
    assert Person.objects.get().check_password(password)


def test_a_password_from_standard_input_is_never_printed(
    workshop: Organisation, monkeypatch: pytest.MonkeyPatch
) -> None:
    del workshop
    arguments = [*PERSON, "milo@fernhollow.example", "--role", "valeter", "--password-stdin"]
    monkeypatch.setattr("sys.stdin", io.StringIO("three quiet words\r\nmore\n"))
    result = made("add_person", *arguments)
    assert result["password"] is None
    assert Person.objects.get().check_password("three quiet words")
    monkeypatch.setattr("sys.stdin", io.StringIO("three quiet words"))
    arguments[4] = "tam@fernhollow.example"
    assert "quiet" not in printed("add_person", *arguments)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "no password"),
        ("\n", "no password"),
        ("short\n", "password: "),
        ("password12\n", "too common"),
    ],
)
def test_a_password_that_will_not_do_is_refused(
    workshop: Organisation, monkeypatch: pytest.MonkeyPatch, typed: str, words: str
) -> None:
    del workshop
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    arguments = [*PERSON, "milo@fernhollow.example", "--role", "owner", "--password-stdin"]
    assert words in failure("add_person", *arguments)
    assert not Person.objects.exists()


def test_everything_wrong_with_a_person_is_told_at_once(workshop: Organisation) -> None:
    del workshop
    sentence = failure("add_person", *PERSON, "milo", "--role", "staff")
    assert "email: Not an e-mail address." in sentence
    assert "role: A workshop has these roles: manager, owner, valeter." in sentence


def test_two_people_do_not_sign_in_with_one_address(workshop: Organisation) -> None:
    del workshop
    printed("add_person", *PERSON, "milo@fernhollow.example", "--role", "owner")
    sentence = failure("add_person", *PERSON, "MILO@fernhollow.example", "--role", "owner")
    assert "already" in sentence


KEY = ["--organisation", "Brackmoor Cars", "--scopes"]


def test_a_key_is_made_and_opens_what_it_should(account: TradeAccount) -> None:
    result = made("add_key", *KEY, "orders.write, jobs.read,", "--name", "Stock system")
    assert result == {
        "prefix": result["prefix"],
        "key": result["key"],
        "name": "Stock system",
        "scopes": ["jobs.read", "orders.write"],
        "expires_at": None,
        "organisation_id": str(account.dealer.pk),
        "organisation_name": "Brackmoor Cars",
    }
    api = Api(Client(), {"Authorization": f"Bearer {result['key']}"})
    assert api.get("/session").json()["key_prefix"] == result["prefix"]


def test_a_key_is_told_in_words_with_the_secret_on_its_own_line(account: TradeAccount) -> None:
    del account
    first, second = printed("add_key", *KEY, "jobs.read", "--expires-in-days", "30").splitlines()
    key = ApiKey.objects.get()
    assert key.expiry_date is not None
    assert f"{key.expiry_date:%Y-%m-%d %H:%M} UTC" in first
    assert second.startswith(f"The key, shown this once: {key.prefix}.")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["jobs.work"], "Not for a dealer: jobs.work."),
        (["doors.open,jobs.read"], "Not for a dealer: doors.open."),
        ([","], "Choose from: jobs.read"),
        (["jobs.read", "--expires-in-days", "0"], "write 1 to 3650"),
        (["jobs.read", "--expires-in-days", "1000000000"], "write 1 to 3650"),
        (["jobs.read", "--name", "x" * 51], "50"),
    ],
)
def test_a_key_that_cannot_be_made_is_refused_in_one_sentence(
    account: TradeAccount, arguments: list[str], words: str
) -> None:
    del account
    assert words in failure("add_key", *KEY, *arguments)
    assert not ApiKey.objects.exists()


def test_a_key_is_revoked_by_its_prefix_or_whole(account: TradeAccount) -> None:
    first, second = (made("add_key", *KEY, "jobs.read") for _ in range(2))
    assert made("revoke_key", first["prefix"]) == {
        "prefix": first["prefix"],
        "name": "system",
        "organisation_id": str(account.dealer.pk),
        "organisation_name": "Brackmoor Cars",
        "was_revoked": False,
    }
    assert "Revoked the key" in printed("revoke_key", second["key"])
    assert not ApiKey.objects.filter(revoked=False).exists()
    assert "was revoked already" in printed("revoke_key", first["prefix"])


def test_a_key_that_is_not_there_is_not_revoked() -> None:
    assert failure("revoke_key", "AAAAAAAA") == "No key begins with 'AAAAAAAA'."


def test_a_person_may_be_given_a_pin_for_the_tablet(workshop: Organisation) -> None:
    result = made(
        "add_person", *PERSON, "tam@fernhollow.example", "--role", "valeter", "--pin", "2580"
    )
    person = Person.objects.get()
    assert pin_check(workshop_id=workshop.pk, person_id=person.pk, pin="2580") == person
    assert "2580" not in list(result.values())


def test_nobody_is_made_with_a_pin_that_is_none(workshop: Organisation) -> None:
    assert "pin: Digits in a row" in failure(
        "add_person", *PERSON, "tam@fernhollow.example", "--role", "valeter", "--pin", "1234"
    )
    assert not Person.objects.filter(organisation=workshop).exists()
