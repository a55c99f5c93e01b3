"""Reads settings from the environment; a bad value is remembered for `core.checks`, not raised.

A service that dies on the first bad setting makes its operator find the others one restart at a
time, so every reader falls back to its default and the system checks name all of them at once.
"""

import ipaddress
import os
import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

TRUE_WORDS = frozenset({"1", "true", "yes", "on"})
FALSE_WORDS = frozenset({"0", "false", "no", "off", ""})
# A database of PostgreSQL may be reached over a socket in the file system.
FOLDER_STORE = "core.stores.FolderStore"
BUCKET_STORE = "core.buckets.BucketStore"
HOSTLESS = frozenset({"sqlite", "postgres", "postgresql", "filesystem", "file", "console"})
PREFIX = "SHUTLINE_"
# Not the service's: docker-compose.yml has the first two, the tests the others.
NOT_SETTINGS = frozenset(
    {"SHUTLINE_PORT", "SHUTLINE_VERSION", "SHUTLINE_REQUIRE_SERVERS", "SHUTLINE_SCREENSHOTS"}
)
ALIKE = 0.6  # the usual measure of difflib: from there on one name is taken for another


@dataclass(frozen=True, slots=True)
class BadSetting:
    """One setting that could not be used, and what to put instead."""

    code: str
    name: str
    message: str
    hint: str


@dataclass(slots=True)
class Environment:
    """Typed readers over a mapping of environment variables; collects what it could not use."""

    values: Mapping[str, str] = field(default_factory=lambda: os.environ)
    bad: list[BadSetting] = field(default_factory=list)
    read: set[str] = field(default_factory=set)

    def text(self, name: str, default: str = "") -> str:
        """Return the variable's text, or the default where it is unset or empty."""
        return self.raw(name).strip() or default

    def raw(self, name: str) -> str:
        """Return the variable as it is, and remember that there is such a setting."""
        self.read.add(name)
        return self.values.get(name, "")

    def words(self, name: str, default: str = "") -> list[str]:
        """Return a comma-separated list."""
        return [word.strip() for word in self.text(name, default).split(",") if word.strip()]

    def flag(self, name: str, code: str, *, default: bool = False) -> bool:
        """Return a yes or no."""
        if name not in self.values:
            self.read.add(name)
            return default
        word = self.raw(name).strip().lower()
        if word in TRUE_WORDS | FALSE_WORDS:
            return word in TRUE_WORDS
        self.refuse(code, name, f"is {word!r}, not a yes or no", "Write 1 or 0.")
        return default

    def whole(self, name: str, code: str, default: int, *, low: int, high: int) -> int:
        """Return a whole number between low and high inclusive."""
        word = self.text(name, str(default))
        hint = f"Write a whole number from {low} to {high}; {default} is the default."
        try:
            number = int(word)
        except ValueError:
            self.refuse(code, name, f"is {word!r}, not a whole number", hint)
            return default
        if not low <= number <= high:
            self.refuse(code, name, f"is {number}, outside {low} to {high}", hint)
            return default
        return number

    def seconds(self, name: str, code: str, default: str) -> tuple[float, ...]:
        """Return a comma-separated list of waiting times in seconds, each zero or more."""
        try:
            steps = tuple(float(word) for word in self.words(name, default))
        except ValueError:
            steps = ()
        if steps and all(0 <= step < float("inf") for step in steps):
            return steps
        self.refuse(
            code,
            name,
            "is not a list of waiting times in seconds",
            f"Write numbers separated by commas, as in {default}.",
        )
        return tuple(float(word) for word in default.split(","))

    def days(self, name: str, code: str, default: Mapping[str, int]) -> dict[str, int]:
        """Return a number of days for each name of the default, as in `pictures=365,mail=7`."""
        chosen = dict(default)
        for word in self.words(name):
            kind, _, number = (part.strip() for part in word.partition("="))
            if kind in default and number.isascii() and number.isdigit() and len(number) <= 5:  # noqa: PLR2004  days of a century
                chosen[kind] = int(number)
            else:
                hint = f"Write name=days, separated by commas; the names are {', '.join(default)}."
                self.refuse(code, name, f"holds {word!r}, not a term", hint)
        return chosen

    def networks(self, name: str, code: str, default: str = "") -> tuple[str, ...]:
        """Return a comma-separated list of IP networks in CIDR form."""
        good = []
        for word in self.words(name, default):
            try:
                good.append(str(ipaddress.ip_network(word)))
            except ValueError:
                hint = "Write networks as in 10.20.0.0/16 or fd12::/48, separated by commas."
                self.refuse(code, name, f"holds {word!r}, not a network", hint)
        return tuple(good)

    def place(self, name: str, code: str) -> str:
        """Return host:port to listen on, or an empty text where it is unset."""
        word = self.text(name)
        if not word:
            return ""
        try:
            host, port = split_place(word)
        except ValueError:
            host, port = "", 0
        if host and 0 < port < 65536:  # noqa: PLR2004  the ports there are
            return word
        hint = "Write host:port, as in 127.0.0.1:9100 or [::1]:9100."
        self.refuse(code, name, f"is {word!r}, not an address to listen on", hint)
        return ""

    def url(self, name: str, code: str, default: str, *, schemes: tuple[str, ...]) -> str:
        """Return a URL whose scheme is one of those given; one that is called over needs a host."""
        word = self.text(name, default)
        try:
            parts = urlsplit(word)
            usable = parts.port is None or parts.port > 0
        except ValueError:  # brackets that do not match, a port that is not a number
            usable = False
        if usable and parts.scheme in schemes and (parts.hostname or parts.scheme in HOSTLESS):
            return word
        shown = ", ".join(f"{scheme}:" for scheme in schemes)
        hint = f"Begin it with {shown} and check its host and port, where it has them."
        self.refuse(code, name, "is not an address this can use", hint)
        return default

    def zone(self, name: str, code: str, default: str) -> str:
        """Return the name of a time zone this machine knows."""
        word = self.text(name, default)
        try:
            ZoneInfo(word)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            hint = f"Write a name from the IANA list, as in {default}."
            self.refuse(code, name, f"is {word!r}, not a known time zone", hint)
            return default
        return word

    def folder(self, name: str, code: str, default: Path) -> Path:
        """Return a folder that can be written in, making it where it is not there yet."""
        path = Path(self.text(name, str(default)))
        if _can_write_in(path):
            return path
        hint = "Name a folder that the user running this may write in."
        self.refuse(code, name, f"is {str(path)!r}, where nothing can be written", hint)
        return Path(tempfile.mkdtemp(prefix="shutline-"))

    def store(self, name: str, code: str, default: Path) -> dict[str, Any]:
        """Return Django's entry for a store of files: a folder, or a bucket that speaks S3.

        `file:///folder`, or `s3://bucket?endpoint=https://host&region=name`, both optional.
        """
        usual = {"BACKEND": FOLDER_STORE, "OPTIONS": {"location": str(default)}}
        word = self.text(name)
        entry = _folder_store(word) or _bucket_store(word) if word else usual
        if entry is not None:
            return entry
        hint = (
            "Write file:///folder, one that can be written in, or "
            "s3://bucket?endpoint=https://host&region=name."
        )
        self.refuse(code, name, "is not a store of files this can use", hint)
        return usual

    def choice(self, name: str, code: str, default: str, *, allowed: tuple[str, ...]) -> str:
        """Return one of the allowed words."""
        word = self.text(name, default)
        if word in allowed:
            return word
        self.refuse(code, name, f"is {word!r}", f"Write one of: {', '.join(allowed)}.")
        return default

    def refuse_unknown(self, code: str) -> None:
        """Refuse every variable with our prefix that nothing has read; call it last.

        What was meant to be set would silently keep its default. No value is shown: it may be a
        secret.
        """
        ours = {name for name in self.values if name.upper().startswith(PREFIX)}
        for name in sorted(ours - self.read - NOT_SETTINGS):
            near = get_close_matches(name.upper(), sorted(self.read), n=1, cutoff=ALIKE)
            hint = f"Write {near[0]}, or remove it." if near else "Remove it."
            self.refuse(code, name, "is not a setting", f"{hint} README lists the settings.")

    def refuse(self, code: str, name: str, message: str, hint: str) -> None:
        """Remember a bad value for the system checks."""
        self.bad.append(BadSetting(code, name, f"{name} {message}.", hint))


def split_place(word: str) -> tuple[str, int]:
    """Return host and port of host:port. Raises ValueError where the port is no number."""
    host, _, port = word.rpartition(":")
    return host.strip("[]"), int(port)


def _can_write_in(path: Path) -> bool:
    """Make the folder where it is not there yet, and say whether files can be put into it.

    What it will hold (the database, e-mails with links that answer) is for its owner only.
    """
    try:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
    except (OSError, ValueError):  # ValueError: a NUL in the name
        return False
    return os.access(path, os.W_OK | os.X_OK)


def _folder_store(word: str) -> dict[str, Any] | None:
    """Return the store that a file: URL names, or None where it names none."""
    scheme, _, folder = word.partition("://")
    path = Path(unquote(folder))
    if scheme != "file" or not path.is_absolute() or not _can_write_in(path):
        return None
    return {"BACKEND": FOLDER_STORE, "OPTIONS": {"location": str(path)}}


def _bucket_store(word: str) -> dict[str, Any] | None:
    """Return the store that an s3: URL names, or None where it names none."""
    try:
        parts = urlsplit(word)
        options = dict(parse_qsl(parts.query, keep_blank_values=True))
        endpoint, region = options.pop("endpoint", None), options.pop("region", None)
        host = urlsplit("https://host" if endpoint is None else endpoint)
        whole = bool(host.hostname) and host.port != 0 and host.scheme in {"http", "https"}
    except ValueError:  # brackets that do not match, a port that is not a number
        return None
    bucket = re.fullmatch(r"[a-z0-9][a-z0-9.-]{1,61}[a-z0-9]", parts.netloc)
    unread = parts.path.strip("/") or parts.fragment or options or region == ""
    if parts.scheme != "s3" or not bucket or unread or not whole:
        return None
    return {
        "BACKEND": BUCKET_STORE,
        "OPTIONS": {
            "bucket_name": parts.netloc,
            "region_name": region,
            "endpoint_url": endpoint,
        },
    }
