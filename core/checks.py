"""System checks: every setting that could not be used, with what to write instead."""

import os
from collections.abc import Iterable, Sequence
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from typing import Any

from cryptography.fernet import Fernet
from django.apps.config import AppConfig
from django.conf import settings
from django.core import checks
from django.core.checks import CheckMessage, Error, register

from core import tracing
from core.env import BUCKET_STORE
from core.private_files import open_to_others

TOKEN_LENGTH = 16


@register
def check_environment(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Name every environment variable whose value was refused."""
    del app_configs
    return [Error(bad.message, hint=bad.hint, id=bad.code) for bad in settings.BAD_SETTINGS]


@register
def check_currency(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Refuse a currency that is not three capital letters (ISO 4217)."""
    del app_configs
    code = settings.CURRENCY
    if not (len(code) == 3 and code.isascii() and code.isalpha() and code.isupper()):  # noqa: PLR2004
        yield Error(
            f"SHUTLINE_CURRENCY is {code!r}, not a currency code.",
            hint="Write the three capital letters of ISO 4217, as in GBP.",
            id="core.E031",
        )


@register
def check_field_keys(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Refuse a key that cannot encrypt endpoint secrets."""
    del app_configs
    for number, key in enumerate(settings.FIELD_KEYS, start=1):
        try:
            Fernet(key)
        except ValueError:
            yield Error(
                f"SHUTLINE_FIELD_KEYS: key number {number} cannot be used.",
                hint=(
                    'Make one with `python -c "from cryptography.fernet import Fernet; '
                    'print(Fernet.generate_key().decode())"`; put the newest first.'
                ),
                id="core.E032",
            )


@register
def check_lease(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Refuse a lease that can run out while its delivery is still being tried."""
    del app_configs
    if settings.DELIVERY_LEASE_SECONDS <= settings.DELIVERY_TIMEOUT_SECONDS:
        yield Error(
            "SHUTLINE_DELIVERY_LEASE_SECONDS is not longer than "
            "SHUTLINE_DELIVERY_TIMEOUT_SECONDS, so notices would be sent twice.",
            hint="Make the lease at least twice the time-out; 60 and 20 are the defaults.",
            id="core.E033",
        )


@register
def check_disabling(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Refuse to disable an endpoint before its owner was warned."""
    del app_configs
    if settings.DISABLE_AFTER_HOURS <= settings.WARN_AFTER_HOURS:
        yield Error(
            "SHUTLINE_DISABLE_AFTER_HOURS is not later than SHUTLINE_WARN_AFTER_HOURS.",
            hint="The warning must come first; 24 and 120 hours are the defaults.",
            id="core.E034",
        )


@register
def check_photo_store(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Refuse a bucket where the libraries that speak to one are not installed."""
    del app_configs
    missing = [name for name in ("boto3", "storages") if find_spec(name) is None]
    if settings.STORAGES["photos"]["BACKEND"] == BUCKET_STORE and missing:
        yield Error(
            f"SHUTLINE_PHOTO_STORE names a bucket, but {' and '.join(missing)} is not installed.",
            hint="Install the extra with `pip install 'shutline[s3]'`, or name a file:// folder.",
            id="core.E035",
        )


@register
def check_traces(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Refuse an address for traces where nothing could be sent to it."""
    del app_configs
    if not tracing.wanted(os.environ):
        return
    try:
        version(tracing.PACKAGE)
    except PackageNotFoundError:
        yield Error(
            f"OTEL_EXPORTER_OTLP_ENDPOINT is set, but {tracing.PACKAGE} is not installed.",
            hint="Install the extra with `pip install 'shutline[traces]'`, or unset it.",
            id="core.E036",
        )
    spoken = os.environ.get("OTEL_EXPORTER_OTLP_PROTOCOL") or tracing.PROTOCOL
    if spoken != tracing.PROTOCOL:
        yield Error(
            f"OTEL_EXPORTER_OTLP_PROTOCOL is {spoken!r}, which is not spoken here.",
            hint=f"Write {tracing.PROTOCOL}, or unset it.",
            id="core.E037",
        )


@register(deploy=True)
def check_plain_http(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Warn where notices may go out unencrypted."""
    del app_configs
    if settings.ALLOW_PLAIN_HTTP:
        yield checks.Warning(
            "SHUTLINE_ALLOW_PLAIN_HTTP lets notices go out unencrypted.",
            hint="Unset it unless every endpoint is on this site's own network.",
            id="core.W001",
        )


@register(deploy=True)
def check_tls(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Warn where passwords, cookies and keys travel readable."""
    del app_configs
    if not settings.PUBLIC_URL.startswith("https://"):
        yield checks.Warning(
            "SHUTLINE_PUBLIC_URL is not https://, so passwords, cookies and keys travel readable.",
            hint="Put a proxy that speaks TLS in front and set SHUTLINE_PUBLIC_URL=https://… to "
            "its address; cookies are then sent over TLS only.",
            id="core.W002",
        )


@register(deploy=True)
def check_metrics_token(
    app_configs: Sequence[AppConfig] | None, **_: Any
) -> Iterable[CheckMessage]:
    """Warn of a token that can be guessed."""
    del app_configs
    if 0 < len(settings.METRICS_TOKEN) < TOKEN_LENGTH:
        yield checks.Warning(
            f"SHUTLINE_METRICS_TOKEN has fewer than {TOKEN_LENGTH} characters and can be guessed.",
            hint="Make one with `python -c 'import secrets; print(secrets.token_urlsafe(24))'`.",
            id="core.W003",
        )


@register(deploy=True)
def check_data_folder(app_configs: Sequence[AppConfig] | None, **_: Any) -> Iterable[CheckMessage]:
    """Warn where others on this machine can read what is kept."""
    del app_configs
    names = open_to_others(settings.DATA_DIR)
    if names:
        yield checks.Warning(
            f"Others on this machine can open, in {settings.DATA_DIR}: {', '.join(names[:5])}.",
            hint=f"Let the service's user own it and run `chmod -R go-rwx {settings.DATA_DIR}`.",
            id="core.W004",
        )
