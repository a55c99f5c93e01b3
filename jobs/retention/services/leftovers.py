"""What is kept beside the rows of cars and accounts: sign-ins, stored answers, e-mails in files."""

import re
from collections.abc import Collection
from email import message_from_bytes, policy
from pathlib import Path
from uuid import UUID

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.db.models import Q

from core.models import IdempotentAnswer
from core.sealing import CannotUnseal, seal, unseal
from jobs.retention.selectors.mail import mail_files
from jobs.retention.services.words import Words

_ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def sessions_end(people: Collection[UUID]) -> int:
    """Delete the sign-ins of people; return how many."""
    wanted = {str(person_id) for person_id in people}
    ended = [
        session.pk
        for session in Session.objects.iterator()
        if session.get_decoded().get(SESSION_KEY) in wanted
    ]
    return Session.objects.filter(pk__in=ended).delete()[0]


def attempts_forget(emails: Collection[str]) -> int:
    """Delete failed sign-ins as somebody; return how many."""
    rows = 0
    for email in emails:
        for model in (AccessAttempt, AccessFailureLog, AccessLog):
            rows += model.objects.filter(Q(username__iexact=email)).delete()[0]
    return rows


def answers_forget(
    *, organisations: Collection[UUID], words: Words, ids: Collection[str] = ()
) -> int:
    """Delete stored answers in which any of the words or ids stands; return how many.

    For cars that are closed: whoever repeats such a request is refused. One that no key opens goes
    as well, since nobody can say what is in it.
    """
    wanted = set(ids)
    gone = []
    for answer in IdempotentAnswer.objects.filter(organisation_id__in=organisations).iterator():
        try:
            text = unseal(bytes(answer.body)).decode(errors="replace") if answer.body else ""
        except CannotUnseal:
            gone.append(answer.pk)
            continue
        if words.stand_in(text) or not wanted.isdisjoint(_ID.findall(text)):
            gone.append(answer.pk)
    return IdempotentAnswer.objects.filter(pk__in=gone).delete()[0]


def answers_reword(*, organisations: Collection[UUID], words: Words) -> int:
    """Take words out of stored answers; return how many had them.

    They stay, so that a request that is repeated acts once. One that no key opens goes.
    """
    count = 0
    for answer in IdempotentAnswer.objects.filter(organisation_id__in=organisations).iterator():
        try:
            text = unseal(bytes(answer.body)).decode() if answer.body else ""
        except (CannotUnseal, UnicodeDecodeError):
            count += answer.delete()[0]
            continue
        if words.stand_in(text):
            answer.body = seal(str(words.out_of(text)).encode())
            answer.save(update_fields=["body"])
            count += 1
    return count


def mail_forget(words: Words) -> int:
    """Delete the e-mails kept as files in which any of the words stands; return how many."""
    gone = [path for path, _ in mail_files() if words.stand_in(_text(path))]
    for path in gone:
        path.unlink(missing_ok=True)
    return len(gone)


def _text(path: Path) -> str:
    """Return a file as it lies, and the texts of its e-mails as they read."""
    content = path.read_bytes()
    texts = [content.decode(errors="replace")]
    for piece in re.split(rb"\n-{79}\n", content):  # as Django's file backend parts them
        message = message_from_bytes(piece, policy=policy.default)
        texts += [str(value) for value in message.values()]
        texts += [
            str(part.get_content())
            for part in message.walk()
            if part.get_content_maintype() == "text"
        ]
    return "\n".join(texts)
