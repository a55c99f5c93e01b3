"""What is wrong with what was given, told for every field at once."""

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from core.problems import FieldError, InvalidRequest

MAX_NAME_LENGTH = 120


def refuse(*errors: tuple[str, str]) -> None:
    """Raise InvalidRequest with every field that has something wrong; empty texts are fine."""
    wrong: list[FieldError] = [
        {"field": name, "message": message} for name, message in errors if message
    ]
    if wrong:
        named = " ".join(f"{entry['field']}: {entry['message']}" for entry in wrong)
        raise InvalidRequest(named, errors=wrong)


def name_error(name: str, longest: int = MAX_NAME_LENGTH) -> str:
    """Return what is wrong with a name, or an empty text."""
    if not name.strip() or not name.isprintable():
        return "Give a name, in printable characters."
    if len(name.strip()) > longest:
        return f"At most {longest} characters."
    return ""


def email_error(email: str) -> str:
    """Return what is wrong with an e-mail address, or an empty text."""
    try:
        validate_email(email)
    except ValidationError:
        return "Not an e-mail address."
    return ""
