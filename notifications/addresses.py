"""The address of a webhook endpoint: checked, and brought into one spelling."""

from urllib.parse import urlsplit, urlunsplit

from core.outbound.addresses import check_url


def usable_url(text: str) -> str:
    """Return the URL with its scheme and host in lower case. Raises ValueError with a sentence.

    The check here is for the owner's sake, while they are looking; the one that counts is made
    by the sender, at the moment of connecting.
    """
    check_url(text)
    parts = urlsplit(text)
    return urlunsplit(parts._replace(scheme=parts.scheme.lower(), netloc=parts.netloc.lower()))
