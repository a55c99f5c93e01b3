"""Where the service listens: is the port free, and what do people type."""

import errno
import socket

from django.conf import settings


class AddressError(Exception):
    """The service cannot listen there; the message says what to do."""


def usable_port(host: str, port: int) -> int:
    """Return the port, or a free one where it is 0; raise where nobody could listen there."""
    try:
        family, kind, protocol, _, place = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except socket.gaierror as error:
        raise AddressError(
            f"{host!r} is not an address of this machine. Write --host 127.0.0.1 to be reached "
            "from this machine only, or --host 0.0.0.0 to be reached from others."
        ) from error
    with socket.socket(family, kind, protocol) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(place)
        except OSError as error:
            raise AddressError(sentence_for(error, host, port)) from error
        free: int = probe.getsockname()[1]
    return free


def sentence_for(error: OSError, host: str, port: int) -> str:
    """Return why it cannot listen there, and what to do."""
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} on {host} is taken by another program. Stop that one, or choose "
            f"another port with --port {port + 1}; --port 0 takes any that is free."
        )
    if error.errno == errno.EACCES:
        return f"Port {port} is for the system's own programs. Choose one from 1024 with --port."
    if error.errno == errno.EADDRNOTAVAIL:
        return f"{host} is not an address of this machine. Choose another with --host."
    return f"Cannot listen on {host}, port {port}: {error.strerror}."


def local_host(host: str) -> str:
    """Return how this machine itself reaches what listens on host."""
    return {"0.0.0.0": "127.0.0.1", "::": "::1", "": "127.0.0.1"}.get(host, host)  # noqa: S104  compared, not bound


def local_url(host: str, port: int) -> str:
    """Return the URL at which this machine reaches the service."""
    name = local_host(host)
    return f"http://[{name}]:{port}" if ":" in name else f"http://{name}:{port}"


def allowed_name() -> str:
    """Return a Host header that the service accepts."""
    first: str = settings.ALLOWED_HOSTS[0] if settings.ALLOWED_HOSTS else "localhost"
    return "localhost" if first == "*" else first.lstrip(".")
