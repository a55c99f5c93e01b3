"""Makes a backup, or proves one by restoring it."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from core.backup.make import backup_make
from core.backup.manifest import Manifest
from core.backup.restore import backup_check
from core.management.plainly import plainly

MOST_NAMED = 20


class Command(BaseCommand):
    """`manage.py backup`."""

    help = (
        "Back up the database and the photographs into a new folder, while the service goes on. "
        "The keys are not in it: keep signing.key and field.key, or the settings, elsewhere."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("place", type=Path, help="the folder of the backup")
        parser.add_argument(
            "--check",
            action="store_true",
            help="make nothing: restore this backup into a database of its own, look at all of "
            "it, and drop that again",
        )
        parser.add_argument("--json", action="store_true", help="print one line of JSON")

    def handle(self, **options: Any) -> None:
        with plainly():
            if options["check"]:
                proved = backup_check(options["place"])
                manifest, done = proved.manifest, "restored for a trial and whole"
                if not proved.same_signing_key:
                    self.stderr.write(
                        "Its signing key is not here: links that were sent would lead nowhere."
                    )
            else:
                manifest, done = backup_make(options["place"]), "made"
        self.tell(manifest, options["place"], done, as_json=options["json"])

    def tell(self, manifest: Manifest, place: Path, done: str, *, as_json: bool) -> None:
        """Print what it holds, and name the files that were not there."""
        for path in manifest.missing[:MOST_NAMED]:
            self.stderr.write(f"Not there when the backup was made: {path}")
        if len(manifest.missing) > MOST_NAMED:
            self.stderr.write(f"{len(manifest.missing)} files are missing in all.")
        facts = {
            "place": str(place.absolute()),
            "made_at": manifest.made_at,
            "release": manifest.release,
            "rows": sum(manifest.counts.values()),
            "files": len(manifest.parts) - 1,
            "bytes": sum(part.length for part in manifest.parts),
            "missing": list(manifest.missing),
        }
        if as_json:
            self.stdout.write(json.dumps(facts))
        else:
            self.stdout.write(
                f"Backup {facts['place']} of {manifest.when} {done}: {facts['rows']:,} rows, "
                f"{facts['files']:,} pictures, {facts['bytes']:,} bytes."
            )
