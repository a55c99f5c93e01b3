"""Where notices go, what became of them, and sending them again."""

from tests.browser.pages_list import Page

_HOOK, _LETTER = "/notices/webhooks/{webhook}", "/notices/email/{email_recipient}"
PAGES = (
    Page("notices", "staff", "/notices/"),
    Page("notices-empty", "manager", "/notices/"),
    Page("notices-webhook", "staff", _HOOK),
    Page("notices-webhook-new", "staff", "/notices/webhooks/new"),
    Page("notices-webhook-edit", "staff", f"{_HOOK}/edit"),
    Page("notices-webhook-secret", "staff", f"{_HOOK}/secret"),
    Page("notices-webhook-delete", "staff", f"{_HOOK}/delete"),
    Page("notices-webhook-replay", "staff", f"{_HOOK}/replay"),
    Page("notices-email", "staff", _LETTER),
    Page("notices-email-new", "staff", "/notices/email/new"),
    Page("notices-email-edit", "staff", f"{_LETTER}/edit"),
    Page("notices-email-delete", "staff", f"{_LETTER}/delete"),
    Page("notices-email-replay", "staff", f"{_LETTER}/replay"),
)
