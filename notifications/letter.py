"""What only the dealer's e-mails say beside a notice: further facts, and links that act."""

from dataclasses import dataclass, field

import orjson

from core.sealing import seal, unseal


@dataclass(frozen=True, slots=True)
class Letter:
    """Further lines (label, text) and links (label, URL) of an e-mail.

    A link may be a credential, so the whole is kept sealed.
    """

    facts: tuple[tuple[str, str], ...] = ()
    links: tuple[tuple[str, str], ...] = field(default=(), repr=False)

    def sealed(self) -> str:
        """Return it as it is kept with the event."""
        return seal(orjson.dumps([self.facts, self.links])).decode()

    @classmethod
    def opened(cls, sealed: str) -> "Letter":
        """Return what was kept; empty text is an empty letter. Raises CannotUnseal."""
        if not sealed:
            return cls()
        facts, links = orjson.loads(unseal(sealed.encode()))
        return cls(tuple(map(tuple, facts)), tuple(map(tuple, links)))
