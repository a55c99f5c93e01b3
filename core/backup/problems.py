"""What stops a backup or a restore, as a sentence with what to do next."""


class BackupError(Exception):
    """A backup cannot be made, proved or restored; the message is one clear sentence or two."""
