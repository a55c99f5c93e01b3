"""A bucket that speaks S3 as a store of files; needs the extra `s3`.

Credentials come from where boto3 looks for them: AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, a
profile, or the machine's role. Whatever fails is an OSError, as it is with a folder.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from boto3.exceptions import Boto3Error
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError
from django.core.files.base import ContentFile, File
from storages.backends.s3 import S3Storage

from core.counting import counted_store
from core.stores import CountedStore

CONNECT_SECONDS = 5
READ_SECONDS = 20
TRIES = 3
MISSING = frozenset({"404", "NoSuchKey"})


class BucketStore(CountedStore, S3Storage):  # type: ignore[misc]  # django-storages is untyped
    """Nothing in it is overwritten; a bucket that hangs costs seconds, not minutes."""

    def __init__(
        self, *, bucket_name: str, region_name: str | None, endpoint_url: str | None
    ) -> None:
        config = Config(
            connect_timeout=CONNECT_SECONDS,
            read_timeout=READ_SECONDS,
            retries={"max_attempts": TRIES, "mode": "standard"},
            signature_version="s3v4",
            # Stores beside Amazon's seldom have a host name a bucket, or its newer checksums.
            s3={"addressing_style": "path" if endpoint_url else "auto"},
            request_checksum_calculation="when_required",
            response_checksum_validation="when_required",
        )
        super().__init__(
            bucket_name=bucket_name,
            region_name=region_name,
            endpoint_url=endpoint_url,
            file_overwrite=False,
            client_config=config,
        )

    def exists(self, name: str) -> bool:
        with _as_os_error(name):
            return bool(super().exists(name))

    def delete(self, name: str) -> None:
        with counted_store("delete"), _as_os_error(name):
            S3Storage.delete(self, name)

    def listdir(self, path: str) -> tuple[list[str], list[str]]:
        with _as_os_error(path):
            folders, files = super().listdir(path)
            return list(folders), list(files)

    def get_modified_time(self, name: str) -> datetime:
        with _as_os_error(name):
            modified: datetime = super().get_modified_time(name)
            return modified

    def _open(self, name: str, mode: str = "rb") -> "File[bytes]":
        """Read the whole file with one request."""
        if mode != "rb":
            raise ValueError("A file in a bucket is only read.")
        with _as_os_error(name):
            answer = self.bucket.Object(self._normalize_name(name)).get()
            return ContentFile(answer["Body"].read(), name)

    def _save(self, name: str, content: "File[bytes]") -> str:
        """Put the whole file with one request."""
        parameters = self._get_write_parameters(name, content)
        with _as_os_error(name):
            self.bucket.Object(self._normalize_name(name)).put(Body=content.read(), **parameters)
        return name


@contextmanager
def _as_os_error(name: str) -> Iterator[None]:
    """Raise FileNotFoundError for what is not there, OSError for whatever else went wrong."""
    try:
        yield
    except ClientError as error:
        if error.response.get("Error", {}).get("Code") in MISSING:
            raise FileNotFoundError(f"The bucket has no {name}.") from error
        raise OSError(f"The bucket refused {name}: {error}") from error
    except (BotoCoreError, Boto3Error) as error:
        raise OSError(f"The bucket does not answer for {name}: {error}") from error
