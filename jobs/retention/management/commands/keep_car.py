"""Keeps a car that is in dispute from every term, and releases it."""

from typing import Any
from uuid import UUID

from django.core.management.base import CommandError, CommandParser

from accounts.management.printing import AccountCommand
from jobs.retention.selectors.cars import car_called
from jobs.retention.services.terms import car_keep, car_release


class Command(AccountCommand):
    help = "Keep all of a car that is in dispute, whatever its terms say, or release it."

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", help="The id of the job.")
        parser.add_argument("--reason", default="", help="Why, without a name.")
        parser.add_argument("--release", action="store_true", help="Its terms hold again.")

    def work(self, **options: Any) -> dict[str, Any]:
        try:
            job = car_called(UUID(options["job"]))
        except ValueError as error:
            raise CommandError("Give the id of the job, as its address has it.") from error
        if options["release"]:
            car_release(job=job)
        else:
            car_keep(job=job, reason=options["reason"])
        return {"id": job.pk, "kept": not options["release"]}

    def sentence(self, result: dict[str, Any]) -> str:
        return f"{result['id']} is kept." if result["kept"] else f"{result['id']} is released."
