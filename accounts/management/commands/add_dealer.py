"""Makes a dealer with a trade account at a workshop, or a further account of one already there."""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from accounts.caller import Side
from accounts.management.printing import AccountCommand
from accounts.models import Organisation, TradeAccount
from accounts.selectors import dealer_called, organisation_find
from accounts.services import dealer_add, trade_account_open


class Command(AccountCommand):
    help = "Make a dealer and open its trade account, or open a further account for a dealer."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("name")
        parser.add_argument("--workshop", required=True, help="Its exact name or its id.")
        parser.add_argument(
            "--asks-first",
            action="store_true",
            help="The workshop accepts or declines each order; without it, all are accepted.",
        )
        parser.add_argument(
            "--contact-email", default="", help="Who is told when its endpoints fail."
        )

    def work(self, **options: Any) -> dict[str, Any]:
        workshop = organisation_find(wanted=options["workshop"], kind=Side.WORKSHOP)
        existing = dealer_called(options["name"])
        account = self._open(existing, workshop, options)
        return {
            "id": account.dealer.pk,
            "kind": account.dealer.kind,
            "name": account.dealer.name,
            "made": existing is None,
            "trade_account_id": account.pk,
            "workshop_id": workshop.pk,
            "workshop_name": workshop.name,
            "accepts_by_itself": account.accepts_by_itself,
        }

    @staticmethod
    def _open(
        existing: Organisation | None, workshop: Organisation, options: dict[str, Any]
    ) -> TradeAccount:
        accepts = not options["asks_first"]
        if existing is None:
            return dealer_add(
                name=options["name"],
                workshop=workshop,
                accepts_by_itself=accepts,
                contact_email=options["contact_email"],
            )
        if options["contact_email"]:
            raise CommandError(
                f"{existing} is a dealer already: change its contact e-mail in /admin/, "
                "and leave --contact-email out here."
            )
        return trade_account_open(dealer=existing, workshop=workshop, accepts_by_itself=accepts)

    def sentence(self, result: dict[str, Any]) -> str:
        began = (
            f"Made the dealer {result['name']} with the id {result['id']}."
            if result["made"]
            else f"The dealer {result['name']} was there already ({result['id']})."
        )
        how = (
            "its orders are accepted by themselves"
            if result["accepts_by_itself"]
            else "the workshop is asked about each order"
        )
        return f"{began}\nOpened its trade account with {result['workshop_name']}: {how}."
